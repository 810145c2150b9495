//! `hoofgeo dictionary`

use crate::Outcome;
use crate::args::{DictionaryArgs, DictionaryForm};
use crate::output::{print, print_line};
use hoofgeo::Result;
use hoofgeo::visit::{dictionary_csv, dictionary_json, dictionary_markdown, methods};

pub(crate) fn run(args: &DictionaryArgs) -> Result<Outcome> {
    match args.form {
        DictionaryForm::Markdown => print(dictionary_markdown())?,
        DictionaryForm::Csv => print(dictionary_csv())?,
        DictionaryForm::Methods => print(methods(args.of.as_deref().unwrap_or_else(|| ".".as_ref()))?)?,
        DictionaryForm::Json => print_line(format_args!("{:#}", dictionary_json()))?,
    }
    Ok(Outcome::Done)
}
