//! `hoofgeo dictionary`

use crate::Outcome;
use crate::args::{DictionaryArgs, DictionaryForm};
use crate::output::{print, print_line};
use hoofgeo::Result;
use hoofgeo::visit::{dictionary_csv, dictionary_json, dictionary_markdown};

pub(crate) fn run(args: &DictionaryArgs) -> Result<Outcome> {
    match args.form {
        DictionaryForm::Markdown => print(dictionary_markdown())?,
        DictionaryForm::Csv => print(dictionary_csv())?,
        DictionaryForm::Json => print_line(format_args!("{:#}", dictionary_json()))?,
    }
    Ok(Outcome::Done)
}
