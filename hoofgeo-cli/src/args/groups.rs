//! Help that names the commands by what they are for, and a folder alone for a command.

use super::Arguments;
use clap::{Command, CommandFactory};
use std::ffi::OsString;
use std::fmt::Write;
use std::path::Path;

/// The commands by what they are for. Each stands in one group.
const GROUPS: &[(&str, &[&str])] = &[
    ("A visit", &["place", "check", "measure", "review", "report"]),
    ("A case", &["follow", "project"]),
    ("Photos", &["ruler", "read", "rectify", "start"]),
    ("Research", &["observers", "plan", "shape", "join", "dictionary"]),
    ("The lens", &["lens"]),
    ("Terms and formats", &["guide", "explain", "schema", "demo"]),
];

/// Help is laid out for a terminal of this width.
const WIDTH: usize = 96;
const INDENT: usize = 14;

/// The command line, its help grouped.
pub fn command() -> Command {
    let plain = Arguments::command();
    let mut groups = String::new();
    for (title, names) in GROUPS {
        let _ = writeln!(groups, "{title}:");
        for name in *names {
            let about = plain.find_subcommand(name).and_then(Command::get_about).map(ToString::to_string);
            let _ = writeln!(groups, "  {name:<11} {}", wrapped(&about.unwrap_or_default()));
        }
        groups.push('\n');
    }
    let template =
        format!("{{about-with-newline}}\n{{usage-heading}} {{usage}}\n\n{groups}Options:\n{{options}}{{after-help}}");
    plain
        .help_template(template)
        .override_usage("hoofgeo FOLDER\n       hoofgeo <COMMAND> …")
        .after_help("\n`hoofgeo FOLDER` opens the page on which a visit is sorted, marked and reported, as `hoofgeo place FOLDER` does.")
}

/// Breaks a text that stands behind a name.
fn wrapped(text: &str) -> String {
    let (mut out, mut width) = (String::new(), INDENT);
    for word in text.split(' ') {
        if width + word.chars().count() > WIDTH {
            let _ = write!(out, "\n{:INDENT$}", "");
            width = INDENT;
        } else if !out.is_empty() {
            out.push(' ');
            width += 1;
        }
        out.push_str(word);
        width += word.chars().count();
    }
    out
}

/// The program's arguments, `place` put before a folder that stands alone where a command would.
pub fn place_by_default(arguments: impl IntoIterator<Item = OsString>) -> Vec<OsString> {
    let mut arguments: Vec<OsString> = arguments.into_iter().collect();
    let is_folder = |first: &OsString| {
        let known = first.to_str().is_some_and(|name| Arguments::command().find_subcommand(name).is_some());
        !known && Path::new(first).is_dir()
    };
    if arguments.get(1).is_some_and(is_folder) {
        arguments.insert(1, "place".into());
    }
    arguments
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_command_stands_in_one_group() {
        let mut grouped: Vec<&str> = GROUPS.iter().flat_map(|(_, names)| names.iter().copied()).collect();
        grouped.sort_unstable();
        let plain = Arguments::command();
        let mut all: Vec<&str> = plain.get_subcommands().map(Command::get_name).collect();
        all.sort_unstable();
        assert_eq!(grouped, all);
        command().debug_assert();
    }

    #[test]
    fn a_folder_alone_is_placed() {
        let folder = std::env::temp_dir();
        let words =
            |first: &std::ffi::OsStr| place_by_default(["hoofgeo".into(), first.to_owned(), "--no-open".into()]);
        assert_eq!(words(folder.as_os_str())[1], "place");
        assert_eq!(words("mesure".as_ref())[1], "mesure");
        assert_eq!(words("--help".as_ref())[1], "--help");
    }
}
