//! A disk that is full, at every size from none to enough: what was there before stays, and nothing is half-written.

use super::set;
use std::process::Command;

/// The run that meets the full disk, its results written over those of another run. `$1` is the program.
const RUN: &str = r#"
run() { "$1" measure visit --no-pictures --no-lens-database --draws 1000 --seed 7 --write csv,wide,json,jsonl --quiet --out out; }
# Each file is that of before or the whole new one; says which.
look() {
  for f in measurements.csv measurements-wide.csv measurements.json measurements.jsonl manifest.jsonl; do
    if cmp -s out/$f before/$f; then echo old; elif cmp -s out/$f after/$f; then echo new; else echo "half-written: $f"; fi
  done
  find out -name '*.tmp' -not -path '*/.hoofgeo-unfinished/*' | sed 's/^/left: /'
}
"#;

/// A disk of its own, so many kB; none where the system does not allow it.
const ON_A_SMALL_DISK: &str = r#"
mkdir -p out && mount -t tmpfs -o size="$2"k tmpfs out || { echo skipped; exit 0; }
cp -r before/. out/ || { echo "too small"; exit 0; }
run "$1" 2>err; echo "code $?"
look
# With room again the same command does the rest.
mount -o remount,size=64m out
run "$1" 2>/dev/null; echo "then $?"
look
find out -name '.hoofgeo*'
"#;

/// The same with pictures: one that does not fit is missing, and that is told; none is half there.
const WITH_PICTURES: &str = r#"
mkdir -p out && mount -t tmpfs -o size="$2"k tmpfs out || { echo skipped; exit 0; }
"$1" measure visit --no-lens-database --write csv,wide,json,jsonl --out out >said 2>err; echo "code $?"
echo "$(find out/pictures -type f 2>/dev/null | wc -l) pictures"
grep -c 'without a picture' said
find out/pictures -type f 2>/dev/null | while read -r p; do cmp -s "$p" "pictured/${p#out/}" || echo "half-written: $p"; done
if [ -e out/manifest.jsonl ]; then
  tail -n 1 out/measurements.json | grep -q summary && tail -n 1 out/manifest.jsonl | grep -q measured || echo "half-written"
fi
find out -name '*.tmp' | sed 's/^/left: /'
"#;

/// No file may become longer than so many half kB: writes fail, other than on a full disk, at every length.
const WITH_SHORT_FILES: &str = r#"
rm -rf out && cp -r before out
(trap '' XFSZ; ulimit -f "$2"; run "$1" 2>/dev/null); echo "code $?"
look
"#;

fn shell(folder: &crate::visits::Folder, prefix: &[&str], script: &str, size: usize) -> String {
    let words = [prefix, &["sh", "-c"]].concat();
    let script = format!("{RUN}{script}");
    let end = Command::new(words[0])
        .args(&words[1..])
        .args([&script, "sh", env!("CARGO_BIN_EXE_hoofgeo"), &size.to_string()])
        .current_dir(folder.root())
        .output();
    end.map_or_else(|_| "skipped".to_owned(), |end| String::from_utf8_lossy(&end.stdout).into_owned())
}

fn ready() -> crate::visits::Folder {
    let folder = set(3);
    let measure = "measure visit --no-pictures --no-lens-database --write csv,wide,json,jsonl";
    folder.run(&format!("{measure} --out before")).ends(1);
    folder.run(&format!("{measure} --draws 1000 --seed 7 --out after")).ends(1);
    folder
}

/// What was said before the disk had room again holds: whole old files, or whole new ones.
fn judge(said: &str, size: usize) -> bool {
    let lines: Vec<&str> = said.lines().collect();
    assert!(!said.contains("half-written") && !said.contains("left:"), "with {size}:\n{said}");
    let code = lines.iter().find_map(|l| l.strip_prefix("code ")).unwrap_or_else(|| panic!("with {size}:\n{said}"));
    let states = &lines[1..6];
    // A run that could not be carried out leaves everything as it was.
    let wanted = if code == "1" { "new" } else { "old" };
    assert!(["1", "2"].contains(&code) && states.iter().all(|s| *s == wanted), "with {size}:\n{said}");
    code == "1"
}

#[test]
fn a_full_disk_leaves_what_was_there() {
    let folder = ready();
    let (mut failed, mut done) = (0, 0);
    for size in (16..).step_by(12) {
        let said = shell(&folder, &["unshare", "-rm"], ON_A_SMALL_DISK, size);
        if said.is_empty() || said.contains("skipped") {
            println!("skipped: no disk of one's own can be mounted here");
            return;
        }
        if said.contains("too small") {
            continue;
        }
        let whole = judge(&said, size);
        let then = said.split_once("then ").unwrap().1;
        assert!(then.starts_with('1') && then.lines().skip(1).take(5).all(|s| s == "new"), "with {size}:\n{said}");
        assert!(!then.contains(".hoofgeo"), "with {size}:\n{said}");
        *(if whole { &mut done } else { &mut failed }) += 1;
        if done > 2 {
            break;
        }
    }
    println!("{failed} sizes of the disk too small for the results, {done} large enough");
    assert!(failed > 5);
}

#[test]
fn a_full_disk_leaves_no_picture_half() {
    let folder = set(3);
    folder.run("measure visit --no-lens-database --write csv,wide,json,jsonl --out pictured").ends(1);
    let mut seen = std::collections::BTreeSet::new();
    for size in (64..).step_by(48) {
        let said = shell(&folder, &["unshare", "-rm"], WITH_PICTURES, size);
        if said.is_empty() || said.contains("skipped") {
            println!("skipped: no disk of one's own can be mounted here");
            return;
        }
        assert!(!said.contains("half-written") && !said.contains("left:"), "with {size}:\n{said}");
        let [code, pictures, told] = said.lines().collect::<Vec<_>>()[..] else { panic!("with {size}:\n{said}") };
        // Without results nothing is said of pictures.
        assert!(
            code == "code 2" || (code, told == "1") == ("code 1", pictures != "3 pictures"),
            "with {size}:\n{said}"
        );
        seen.insert((code.to_owned(), pictures.to_owned()));
        if (code, pictures) == ("code 1", "3 pictures") {
            break;
        }
    }
    println!("{seen:?}");
    assert!(seen.len() > 1);
}

#[test]
fn a_write_that_fails_leaves_what_was_there() {
    let folder = ready();
    let (mut failed, mut done) = (0, 0);
    for size in (0..).step_by(8) {
        let said = shell(&folder, &[], WITH_SHORT_FILES, size);
        *(if judge(&said, size) { &mut done } else { &mut failed }) += 1;
        if done > 2 {
            break;
        }
    }
    println!("{failed} lengths at which a file of results cannot be written, {done} at which all can");
    assert!(failed > 3);
}
