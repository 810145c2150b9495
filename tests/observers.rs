//! `hoofgeo observers`, `measure --placement` and `hoofgeo plan` on sidecars whose scatter is known.
#![allow(clippy::unwrap_used, reason = "tests")]

mod visits;

use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;
use serde_json::{Value, json};
use visits::{Folder, headers, sidecar};

/// Scatter put in, mm: the scene has two pixels to the millimetre.
const WITHIN: f64 = 0.3;
const BETWEEN: f64 = 0.6;
const PX_PER_MM: f64 = 2.0;
const PHOTOS: usize = 25;

/// Three observers mark the same photos twice each, in folders of their own.
fn marked() -> Folder {
    let folder = Folder::new();
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(5);
    let mut normal = |sd: f64| PX_PER_MM * sd * rng.sample::<f64, _>(StandardNormal);
    for photo in 0..PHOTOS {
        let model: &str = Box::leak(format!("Phone {photo}").into_boxed_str());
        let bytes = headers::with_exif(
            &[(headers::MODEL, headers::Field::Text(model))],
            &[(headers::FOCAL_35MM, headers::Field::Short(26))],
        );
        for observer in ["AB", "CD", "EF"] {
            let name = format!("{observer}/{photo}.jpg");
            let mut s: Value = serde_json::from_str(&sidecar(&format!("{photo}.jpg"))).unwrap();
            s["observer"] = json!(observer);
            s["subject"]["animal"] = json!(format!("Horse {}", photo % 5));
            for placement in s["landmarks"].as_object_mut().unwrap().values_mut() {
                let (x, y) = (placement["at"][0].as_f64().unwrap(), placement["at"][1].as_f64().unwrap());
                let (bx, by) = (normal(BETWEEN), normal(BETWEEN));
                let mut once = || json!([x + bx + normal(WITHIN), y + by + normal(WITHIN)]);
                placement["at"] = json!([once(), once()]);
            }
            if photo == 7 && observer == "CD" {
                // Taken for another point: 9 mm away.
                s["landmarks"]["heel_ground"]["at"][1] = json!([480.0 - 18.0, 480.0]);
            }
            folder.write(&name, &bytes);
            folder.write(&format!("{name}.hoof.json"), s.to_string());
        }
    }
    folder
}

#[test]
fn scatter_put_in_is_found_named_and_used() {
    let folder = marked();
    let before = folder.files();
    let run = folder.run("observers visit/AB visit/CD visit/EF --out out").ends(0);
    assert_eq!(folder.files(), before);
    let found = folder.json("out/observers.json");
    assert_eq!(found["observers"], json!(["AB", "CD", "EF"]));
    assert_eq!(found["photos"], PHOTOS);
    let landmarks = found["landmarks"].as_array().unwrap();
    assert_eq!(landmarks.len(), 4);
    for l in landmarks.iter().filter(|l| l["landmark"] != "heel_ground") {
        for direction in ["along_mm", "across_mm"] {
            let sd = |k: &str| l[direction][k].as_f64().unwrap();
            // 75 and 50 degrees of freedom: 4 standard errors are 33 and 40 %.
            assert!((sd("within_observer") / WITHIN - 1.0).abs() < 0.33, "{l}");
            assert!((sd("between_observers") / BETWEEN - 1.0).abs() < 0.45, "{l}");
            // All of it is new on each photo; nobody has a bias here.
            assert!((sd("between_photos") / BETWEEN - 1.0).abs() < 0.45 && sd("between_persons") < 0.35, "{l}");
            assert_eq!(
                l[direction]["degrees_of_freedom"],
                json!({ "within": 75.0, "between_photos": 48.0, "between": 2.0 })
            );
        }
    }
    let outliers = found["outlying_placements"].as_array().unwrap();
    assert_eq!(outliers.len(), 1, "{outliers:?}");
    assert_eq!((&outliers[0]["photo"], &outliers[0]["observer"]), (&json!("7.jpg"), &json!("CD")));
    assert!(run.out().contains("far from the others: heel_ground by CD on 7.jpg"), "{}", run.out());

    let m = found["measurements"].as_array().unwrap().iter().find(|m| m["measurement"] == "dorsal_wall_angle").unwrap();
    assert_eq!(m["values"], 6 * PHOTOS);
    assert_eq!(m["limits_of_agreement"].as_array().unwrap().len(), 3);
    assert_eq!(m["within_observers"].as_array().unwrap().len(), 3);
    assert_eq!(m["intraclass_correlation"]["forms"].as_array().unwrap().len(), 6);
    // The wall is some 85 mm long: each end's scatter across it, once within and once between observers.
    let expected = |sd: f64| (sd * 2f64.sqrt() / 84.9).to_degrees();
    let sd = |k: &str| m["spread"][k].as_f64().unwrap();
    assert!((sd("within_observer") / expected(WITHIN) - 1.0).abs() < 0.33, "{}", m["spread"]);
    assert!((sd("between_observers") / expected(BETWEEN) - 1.0).abs() < 0.5, "{}", m["spread"]);
    let plot = folder.read("out/plots/dorsal_wall_angle-1.svg");
    assert_eq!(plot.matches("<circle").count(), PHOTOS);
    assert_eq!(
        folder.read("out/agreement.csv").lines().next().unwrap(),
        "measurement,unit,statistic,of,value,lower,upper"
    );

    // Later measurements take the placement uncertainties over.
    folder.run("measure visit/AB --out plain --no-pictures").ends(0);
    folder.run("measure visit/AB --out known --no-pictures --placement out/placement.json").ends(0);
    let placed = |out: &str| -> f64 {
        let results = folder.json(&format!("{out}/measurements.json"));
        let values = results["photos"][0]["measurements"].as_array().unwrap();
        let value = values.iter().find(|v| v["measurement"] == "dorsal_wall_angle").unwrap();
        value["u"].as_f64().unwrap() * value["budget"]["landmarks"].as_f64().unwrap().sqrt()
    };
    let want = (expected(WITHIN).powi(2) / 2.0 + expected(BETWEEN).powi(2)).sqrt();
    assert!((placed("known") / want - 1.0).abs() < 0.4, "{} for {want}", placed("known"));
    assert!((placed("plain") - placed("known")).abs() > 1e-3);
}

#[test]
fn nothing_repeated_and_bad_tables_are_said_in_words() {
    let folder = Folder::new();
    folder.good("a.jpg");
    let run = folder.run("observers visit --out out").ends(2);
    assert!(run.err().contains("no photo was marked twice"), "{}", run.err());
    for (table, says) in [
        (r#"{ "format": "hoofgeo-placement/2" }"#, "is not a table of placements"),
        (
            r#"{ "format": "hoofgeo-placement/1", "observers": 1, "photos": 1, "lateral": { "toe": { "within_along_mm": 1, "within_across_mm": 1, "between_along_mm": 1, "between_across_mm": 1 } }, "solar": {} }"#,
            "`toe` is no landmark",
        ),
        (
            r#"{ "format": "hoofgeo-placement/1", "observers": 1, "photos": 1, "lateral": { "toe_ground": { "within_along_mm": -1, "within_across_mm": 1, "between_along_mm": 1, "between_across_mm": 1 } }, "solar": {} }"#,
            "not between 0 and 100 mm",
        ),
    ] {
        folder.write("table.json", table);
        let run = folder.run("measure visit --out out --placement visit/table.json").ends(2);
        assert!(run.err().contains(says), "{}", run.err());
    }
    // The same photo twice for one observer.
    folder.good("b.jpg");
    let run = folder.run("observers visit --out out").ends(2);
    assert!(run.err().contains("mark the same photo for the observer MK"), "{}", run.err());
}

#[test]
fn a_study_is_planned_and_better_photos_need_fewer_animals() {
    let folder = Folder::new();
    folder.good("a.jpg");
    let run = folder.run("plan visit --measurement heel_angle --difference 2").ends(0);
    let animals = |row: &str| -> u32 {
        let line = run.out().lines().find(|l| l.starts_with(row)).unwrap_or_else(|| panic!("{row} in {}", run.out()));
        line.split_whitespace().last().unwrap().parse().unwrap()
    };
    let now = animals("as it is");
    assert!(animals("with a second placement") < now, "{}", run.out());
    assert!(animals("with an L-shaped ruler") <= now && animals("with a lens profile") <= now, "{}", run.out());
    folder.run("plan visit --measurement heel_angle --difference 2 --groups").ends(2);
    folder.run("plan visit --measurement heel_angle --difference 2 --groups --animals-sd 3 --power 0.9").ends(0);
    let run = folder.run("plan visit --measurement hoof_width --difference 2").ends(2);
    assert!(run.err().contains("has no value on any of these photos"), "{}", run.err());
    let run = folder.run("plan visit --measurement nonsense --difference 2").ends(2);
    assert!(run.err().contains("is no measurement"), "{}", run.err());
}

/// Two observers click with 0.3 mm, one with 0.9 mm; the first sits 1 mm off along x on every photo.
fn unequal() -> Folder {
    let folder = Folder::new();
    let mut rng = Xoshiro256PlusPlus::seed_from_u64(11);
    let mut normal = |sd: f64| PX_PER_MM * sd * rng.sample::<f64, _>(StandardNormal);
    for photo in 0..40 {
        let model: &str = Box::leak(format!("Phone {photo}").into_boxed_str());
        let bytes = headers::with_exif(
            &[(headers::MODEL, headers::Field::Text(model))],
            &[(headers::FOCAL_35MM, headers::Field::Short(26))],
        );
        for (observer, within, bias) in [("AB", 0.3, 1.0), ("CD", 0.3, 0.0), ("EF", 0.9, 0.0)] {
            let name = format!("{observer}/{photo}.jpg");
            let mut s: Value = serde_json::from_str(&sidecar(&format!("{photo}.jpg"))).unwrap();
            s["observer"] = json!(observer);
            for placement in s["landmarks"].as_object_mut().unwrap().values_mut() {
                let (x, y) = (placement["at"][0].as_f64().unwrap(), placement["at"][1].as_f64().unwrap());
                let mut once = || json!([x + PX_PER_MM * bias + normal(within), y + normal(within)]);
                placement["at"] = json!([once(), once()]);
            }
            if photo == 3 && observer == "CD" {
                // A slip of 5 mm: little among the third's clicks, much among hers.
                let at = s["landmarks"]["toe_coronet"]["at"][0].clone();
                s["landmarks"]["toe_coronet"]["at"][0] = json!([at[0], at[1].as_f64().unwrap() + 10.0]);
            }
            folder.write(&name, &bytes);
            folder.write(&format!("{name}.hoof.json"), s.to_string());
        }
    }
    folder
}

#[test]
fn each_observer_has_a_spread_of_their_own() {
    let folder = unequal();
    folder.run("observers visit/AB visit/CD visit/EF --out out").ends(0);
    let within = |table: &str, landmark: &str| -> f64 {
        let table = folder.json(&format!("out/{table}"));
        table["lateral"][landmark]["within_across_mm"].as_f64().unwrap()
    };
    for landmark in ["toe_ground", "heel_ground", "heel_coronet"] {
        let [ab, cd, ef] = ["AB", "CD", "EF"].map(|o| within(&format!("{o}.placement.json"), landmark));
        // 40 degrees of freedom each: 4 standard errors are 45 %.
        for (got, put_in) in [(ab, 0.3), (cd, 0.3), (ef, 0.9)] {
            assert!((got / put_in - 1.0).abs() < 0.45, "{landmark}: {got} for {put_in}");
        }
        let pooled = within("placement.json", landmark);
        assert!(pooled > 1.3 * cd && pooled < 0.85 * ef, "{landmark}: {pooled} between {cd} and {ef}");
    }
    let anybody = folder.json("out/placement.json");
    assert!(anybody["observer"].is_null());
    let toe = &anybody["lateral"]["heel_ground"];
    // One of three stands 1 mm off along the ground: a standard deviation of 1/√3 mm.
    let persons = toe["between_along_mm"].as_f64().unwrap();
    assert!((persons - 1.0 / 3f64.sqrt()).abs() < 0.2, "{toe}");
    assert_eq!(toe["degrees_of_freedom"]["between"], 2.0);
    // Who scatters more is not named for that; the careful one's slip is.
    let found = folder.json("out/observers.json");
    let named: Vec<&Value> = found["outlying_placements"].as_array().unwrap().iter().collect();
    assert!(
        named.iter().any(|o| o["observer"] == "CD" && o["photo"] == "3.jpg" && o["landmark"] == "toe_coronet"),
        "{named:?}"
    );
    assert!(named.iter().filter(|o| o["observer"] == "EF").count() <= 1, "{named:?}");
}

#[test]
fn the_observers_own_table_is_found_and_named() {
    let folder = unequal();
    folder.run("observers visit/AB visit/CD visit/EF --out out").ends(0);
    let place = |from: &str, to: &str| folder.write(to, folder.read(&format!("out/{from}")));
    place("EF.placement.json", "EF.placement.json");
    place("placement.json", "placement.json");
    let measure = |who: &str, words: &str| -> (Value, String) {
        let run = folder.run(&format!("measure visit/{who} --out m --no-pictures --write csv,json {words}")).ends(0);
        (folder.json("m/measurements.json")["photos"][0].clone(), run.out().to_owned())
    };
    let spread_of = |photo: &Value| -> f64 {
        let values = photo["measurements"].as_array().unwrap();
        let value = values.iter().find(|v| v["measurement"] == "dorsal_wall_angle").unwrap();
        value["u"].as_f64().unwrap() * value["budget"]["landmarks"].as_f64().unwrap().sqrt()
    };
    let (ef, screen) = measure("EF", "");
    assert_eq!(ef["placement"], json!({ "table": "../EF.placement.json", "observer": "EF" }));
    assert!(screen.contains("spread of placing: ../EF.placement.json (of EF), 40 photos"), "{screen}");
    let (ab, screen) = measure("AB", "");
    assert_eq!(ab["placement"], json!({ "table": "../placement.json", "observer": null }));
    assert!(screen.contains("../placement.json (of anybody), 40 photos"), "{screen}");
    assert!(ab["measurements"][0]["flags"].get("placement_table").is_some(), "{}", ab["measurements"][0]);
    let (none, screen) = measure("EF", "--placement none");
    assert!(none["placement"].is_null() && !screen.contains("spread of placing"), "{screen}");
    assert!((spread_of(&none) - spread_of(&ef)).abs() > 1e-3);
    let (given, _) = measure("EF", "--placement out/CD.placement.json");
    assert_eq!(given["placement"], json!({ "table": "out/CD.placement.json", "observer": "CD" }));
    assert!(spread_of(&given) < spread_of(&ef), "a careful one's table");
    // A changed table is noticed.
    let again = folder.run("measure visit/EF --out m --no-pictures --write csv,json").ends(0);
    assert!(!again.out().contains("unchanged"), "{}", again.out());
    let again = folder.run("measure visit/EF --out m --no-pictures --write csv,json").ends(0);
    assert!(again.out().contains("unchanged") && again.out().contains("(of EF), 40 photos"), "{}", again.out());
    place("CD.placement.json", "EF.placement.json");
    let again = folder.run("measure visit/EF --out m --no-pictures --write csv,json").ends(0);
    assert!(!again.out().contains("unchanged"), "{}", again.out());
    // From the user's own folder, where nothing lies above the photos.
    for table in ["EF.placement.json", "placement.json"] {
        std::fs::remove_file(folder.root().join("visit").join(table)).unwrap();
    }
    std::fs::create_dir_all(folder.root().join("config/hoofgeo")).unwrap();
    std::fs::copy(folder.root().join("out/EF.placement.json"), folder.root().join("config/hoofgeo/EF.placement.json"))
        .unwrap();
    let (ef, _) = measure("EF", "");
    assert!(
        ef["placement"]["table"].as_str().unwrap().ends_with("config/hoofgeo/EF.placement.json"),
        "{}",
        ef["placement"]
    );
    assert!(measure("AB", "").0["placement"].is_null());
    for command in [
        "review visit/EF",
        "follow visit/EF",
        "report visit/EF --out pages",
        "plan visit/EF --measurement heel_angle --difference 2",
    ] {
        folder.run(&format!("{command} --placement out/EF.placement.json")).ends(0);
        let wrong = folder.run(&format!("{command} --placement out/agreement.csv")).ends(2);
        assert!(wrong.err().contains("is not a table of placements"), "{command}: {}", wrong.err());
    }
}

/// What a sidecar states of a landmark counts, and is said to.
#[test]
fn what_the_sidecar_states_is_kept_and_said() {
    let folder = unequal();
    folder.run("observers visit/AB visit/CD visit/EF --out out").ends(0);
    let mut s: Value = serde_json::from_str(&folder.read("visit/AB/0.jpg.hoof.json")).unwrap();
    s["landmarks"]["toe_ground"]["u_px"] = json!(8.0);
    folder.write("AB/0.jpg.hoof.json", s.to_string());
    let run = folder.run("measure visit/AB --out m --no-pictures --placement out/AB.placement.json").ends(0);
    assert!(run.out().contains("1 photo: landmarks whose sidecar states u_px or u_mm keep that"), "{}", run.out());
    let results = folder.json("m/measurements.json");
    let flags = |photo: usize, id: &str| -> Vec<String> {
        let values = results["photos"][photo]["measurements"].as_array().unwrap();
        let value = values.iter().find(|v| v["measurement"] == id).unwrap();
        value["flags"].as_object().unwrap().keys().cloned().collect()
    };
    assert!(
        flags(0, "dorsal_wall_angle").contains(&"placement_stated".to_owned()),
        "{:?}",
        flags(0, "dorsal_wall_angle")
    );
    assert!(
        flags(0, "dorsal_wall_angle").contains(&"placement_table".to_owned()),
        "its other landmark is in the table"
    );
    assert!(!flags(1, "dorsal_wall_angle").contains(&"placement_stated".to_owned()));
}
