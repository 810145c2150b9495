//! Names that somebody else has chosen: nothing in them is carried out, by the terminal or by a spreadsheet.

use crate::visits::{Folder, replaced, sidecar};

/// Clears the screen, renames the window, turns the direction of writing.
const NAME: &str = "a\u{1b}[2J\u{1b}]0;mine\u{7}\u{202e}.jpg";

#[cfg(unix)]
#[test]
fn no_escape_sequence_reaches_the_terminal() {
    let folder = Folder::new();
    folder.good("good.jpg");
    let animal = r#""animal": "Kes\u001b]0;mine\u0007trel\u009b31m""#;
    folder.write("good.jpg.hoof.json", replaced(&sidecar("good.jpg"), &[(r#""animal": "Kestrel""#, animal)]));
    folder.write(NAME, "no photo at all");
    folder.write(&format!("{NAME}.hoof.json"), "{");
    folder.write("line\nbreak\u{1b}[1m.jpg", "no photo either");
    for words in [
        "check visit",
        "measure visit --out results --no-pictures",
        "measure visit --out results --no-pictures",
        "report visit --out report",
        "follow visit",
        "review visit",
        "start visit",
        "observers visit visit --out observers",
        "read visit --out read",
    ] {
        // As on a terminal that shows colours.
        let run = folder.command(words).env("CLICOLOR_FORCE", "1").output().unwrap();
        let said = format!("{}{}", String::from_utf8_lossy(&run.stdout), String::from_utf8_lossy(&run.stderr));
        for raw in ["\u{1b}[2J", "\u{1b}]", "\u{7}", "\u{9b}", "\u{202e}", "break\u{1b}"] {
            assert!(!said.contains(raw), "{words}: {raw:?} in {said:?}");
        }
        if words.starts_with("check") {
            assert!(said.contains(r"a\u{1b}[2J\u{1b}]0;mine\u{7}\u{202e}.jpg"), "{said}");
            assert!(said.contains("line\\nbreak"), "{said}");
        }
    }
    // Our own looks are still there.
    let run = folder.command("check visit").env("CLICOLOR_FORCE", "1").output().unwrap();
    assert!(String::from_utf8_lossy(&run.stderr).contains("\u{1b}[1m\u{1b}[31mrefused\u{1b}[0m"), "{run:?}");
}

#[test]
fn no_cell_of_free_text_is_a_formula() {
    let folder = Folder::new();
    let name = "=1+1.jpg";
    folder.good(name);
    let changes =
        [(r#""animal": "Kestrel""#, r#""animal": "@SUM(A1)""#), (r#""observer": "MK""#, r#""observer": "-MK""#)];
    folder.write("=1+1.jpg.hoof.json", replaced(&sidecar(name), &changes));
    folder.run("measure visit --out results --no-pictures --write csv,wide,json").ends(0);
    for table in ["results/measurements.csv", "results/measurements-wide.csv"] {
        let text = folder.read(table);
        let row = text.lines().nth(1).unwrap();
        assert!(row.starts_with("'=1+1.jpg,'@SUM(A1),LF,"), "{row}");
        assert!(row.contains(",'-MK,"), "{row}");
    }
    // Numbers stay numbers: among the values are some below nothing.
    let text = folder.read("results/measurements.csv");
    assert!(text.lines().skip(1).flat_map(|l| l.split(',')).any(|c| c.starts_with('-') && c.parse::<f64>().is_ok()));
    // What is no table holds the text as it is.
    let json = folder.json("results/measurements.json");
    assert_eq!(json["photos"][0]["photo"], name);
    assert_eq!(json["photos"][0]["animal"], "@SUM(A1)");
    let dictionary = folder.run("dictionary --as csv").ends(0);
    let free: Vec<&str> =
        dictionary.out().lines().filter(|l| l.starts_with("measurements.csv,") && l.contains(",free text,")).collect();
    assert_eq!(free.len(), 3, "{free:?}");
}
