//! Pages of hostile and of plain visits.
#![allow(clippy::unwrap_used, reason = "tests")]

use super::*;
use std::fs;

/// Markup that must never reach a page as markup.
const HOSTILE: &str = "<script>alert(1)</script>\"'><img src=x onerror=alert(2)>&{{7*7}}";

/// A visit's folder with one photo of nothing, whose every text is hostile.
fn hostile_visit(folder: &Path, day: &str, photo: &str, toe_x: f64) {
    fs::create_dir_all(folder).unwrap();
    let grey = image::RgbImage::from_pixel(400, 300, image::Rgb([120, 120, 120]));
    grey.save(folder.join(photo)).unwrap();
    let sidecar = serde_json::json!({
        "format": "hoofgeo-sidecar/1",
        "photo": { "file": photo, "width_px": 400, "height_px": 300 },
        "subject": { "animal": HOSTILE, "foot": "LF" },
        "view": "lateral", "side": "lateral", "stage": "before_trim",
        "observer": format!("observer {HOSTILE}"),
        "taken": day,
        "scale": { "kind": "straight_ruler", "points": [
            { "mm": 0, "at": [100, 250] }, { "mm": 100, "at": [200, 250] }, { "mm": 200, "at": [300, 250] } ] },
        "landmarks": {
            "toe_coronet": { "at": [172.3, 173.0] }, "toe_ground": { "at": [toe_x, 240] },
            "heel_coronet": { "at": [265.9, 215.0] }, "heel_ground": { "at": [240, 240] } },
        "notes": format!("photo {HOSTILE}"),
    });
    fs::write(folder.join(format!("{photo}.hoof.json")), sidecar.to_string()).unwrap();
    let mut visit = serde_json::json!({ "format": "hoofgeo-visit/1", "interval_weeks": 5 });
    for key in ["notes", "ground", "diet", "turnout", "lameness", "vet"] {
        visit[key] = format!("{key} {HOSTILE}").into();
    }
    fs::write(folder.join("visit.hoof.json"), visit.to_string()).unwrap();
}

/// A file name that a file system takes, as hostile as it can be without a slash.
const PHOTO: &str = "<b onload=x>'&{{7*7}}.png";

#[test]
fn hostile_text_stays_text_in_every_field() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("<i>visits&'");
    for (day, toe) in [("2026-01-05", 120.0), ("2026-02-09", 121.0), ("2026-03-16", 125.0)] {
        hostile_visit(&folder.join(day), day, PHOTO, toe);
    }
    let out = dir.path().join("pages");
    let mut refusals = Vec::new();
    let pages =
        write_reports(&[folder], &out, &ReportOptions::default(), &mut |e| refusals.push(e.to_string())).unwrap();
    assert!(refusals.is_empty(), "{refusals:?}");
    assert_eq!(pages.len(), 2);
    for page in &pages {
        let html = fs::read_to_string(page).unwrap();
        for bad in ["<script", "<img src=x", "<b onload", "<i>", "onerror=alert(2)>"] {
            assert!(!html.contains(bad), "{bad} in {}", page.display());
        }
        assert!(html.contains("&lt;script&gt;alert(1)&lt;&#x2f;script&gt;"));
        // A template's own syntax in a text is text.
        assert!(html.contains("{{7*7}}"));
        // Nothing is fetched.
        assert!(
            !html.contains("http:")
                || html.matches("http:").count() == html.matches("http://www.w3.org/2000/svg").count()
        );
        assert!(!html.contains("https:"));
    }
    let report = fs::read_to_string(&pages[0]).unwrap();
    for key in ["notes", "ground", "diet", "turnout", "lameness", "vet", "photo", "observer"] {
        assert!(report.contains(&format!("{key} &lt;script&gt;")), "{key}");
    }
    assert!(report.contains("&lt;b onload=x&gt;"));
}

#[test]
fn pages_are_the_same_each_time_and_know_nothing_of_later_visits() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("visits");
    hostile_visit(&folder.join("a"), "2026-01-05", "a.png", 120.0);
    hostile_visit(&folder.join("b"), "2026-02-09", "b.png", 121.0);
    let options = ReportOptions { every_visit: true, ..ReportOptions::default() };
    let run = |name: &str| {
        let out = dir.path().join(name);
        let pages = write_reports(std::slice::from_ref(&folder), &out, &options, &mut |e| panic!("{e}")).unwrap();
        pages.iter().map(|p| fs::read(p).unwrap()).collect::<Vec<_>>()
    };
    let (first, second) = (run("x"), run("y"));
    assert_eq!(first.len(), 4);
    assert!(first == second);
    fs::remove_dir_all(folder.join("b")).unwrap();
    assert!(run("z") == first[2..], "the first visit's page does not change when a second one comes");
}

#[test]
fn templates_can_be_replaced_and_faults_name_their_place() {
    let dir = tempfile::tempdir().unwrap();
    let folder = dir.path().join("visit");
    hostile_visit(&folder, "2026-01-05", "a.png", 120.0);
    let own = dir.path().join("own");
    assert!(Templates::from_folder(&own).is_err());
    Templates::write(&own).unwrap();
    assert!(Templates::write(&own).unwrap_err().to_string().contains("is there already"));
    fs::write(own.join("owner.html"), "mine: {{ animal }}").unwrap();
    let options = ReportOptions {
        templates: Templates::from_folder(&own).unwrap(),
        pictures: false,
        owner_only: true,
        ..ReportOptions::default()
    };
    let run = |options: &ReportOptions| {
        write_reports(std::slice::from_ref(&folder), &dir.path().join("out"), options, &mut |e| panic!("{e}"))
    };
    let pages = run(&options).unwrap();
    assert_eq!(pages.len(), 1);
    assert!(fs::read_to_string(&pages[0]).unwrap().starts_with("mine: &lt;script&gt;"));
    fs::write(own.join("owner.html"), "\n{{ animl }}").unwrap();
    let options = ReportOptions { templates: Templates::from_folder(&own).unwrap(), ..options };
    assert!(run(&options).unwrap_err().to_string().contains("owner.html line 2"));
}

#[test]
fn names_become_file_names() {
    for (animal, name) in [("Hazel", "hazel"), ("Zoë's  No. 2", "zoë-s-no-2"), ("../..", "animal"), ("<a>", "a")] {
        assert_eq!(file_name(animal), name);
    }
}
