//! Statistics of agreement against published tables and a general-purpose statistics package (`fixtures/agreement`).

#![allow(clippy::unwrap_used, reason = "tests")]

use hoofgeo::agreement::components::{Component, Observation, components};
use hoofgeo::agreement::planning::{Design, animals_needed, power};
use hoofgeo::agreement::{Ratings, limits_of_agreement, repeatability, technical_error};
use rand::{RngExt, SeedableRng};
use rand_distr::StandardNormal;
use serde_json::Value;

fn fixture(name: &str) -> Value {
    let path = format!("{}/../fixtures/agreement/{name}.json", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn numbers(v: &Value) -> Vec<f64> {
    match v {
        Value::Array(items) => items.iter().flat_map(numbers).collect(),
        v => vec![v.as_f64().unwrap()],
    }
}

fn close(got: f64, want: f64, tolerance: f64, what: &str) {
    assert!((got - want).abs() <= tolerance, "{what}: {got} for {want}");
}

fn case(published: &Value, id: &str) -> Value {
    published["cases"].as_array().unwrap().iter().find(|c| c["id"] == id).unwrap().clone()
}

#[test]
fn intraclass_correlations_of_shrout_and_fleiss() {
    let case = case(&fixture("published"), "Shrout & Fleiss 1979 Table 2");
    let table = Ratings::new(4, numbers(&case["inputs"]["ratings"])).unwrap().icc();
    let full = &case["expected_full_precision"];
    for (got, name) in [(table.between, "BMS"), (table.within, "WMS"), (table.raters, "JMS"), (table.error, "EMS")] {
        close(got, full[name].as_f64().unwrap(), 1e-12, name);
        close(got, case["expected_published"][name].as_f64().unwrap(), 0.005, name);
    }
    let names = [
        ("ICC1_1", "ICC1_1"),
        ("ICC2_1", "ICC2_1"),
        ("ICC3_1", "ICC3_1"),
        ("ICC1_k", "ICC1_4"),
        ("ICC2_k", "ICC2_4"),
        ("ICC3_k", "ICC3_4"),
    ];
    for (form, (name, printed)) in table.forms.iter().zip(names) {
        close(form.value, full[name].as_f64().unwrap(), 1e-12, name);
        close(form.value, case["expected_published"][printed].as_f64().unwrap(), 0.005, printed);
        if let Some(interval) = full.get(format!("CI_{name}")) {
            for (got, want) in form.interval.iter().zip(numbers(interval)) {
                close(*got, want, 1e-8, name);
            }
        }
    }
}

#[test]
fn limits_of_agreement_of_bland_and_altman() {
    let case = case(&fixture("published"), "Bland & Altman 1986 PEFR");
    let column = |name: &str| numbers(&case["inputs"][name]);
    let pairs =
        |a: &str, b: &str| -> Vec<[f64; 2]> { column(a).into_iter().zip(column(b)).map(|(a, b)| [a, b]).collect() };
    let limits = limits_of_agreement(&pairs("wright_first", "mini_first")).unwrap();
    let printed = &case["expected_published"];
    close(limits.bias.value, printed["mean_difference"].as_f64().unwrap(), 0.05, "mean difference");
    close(limits.sd, printed["sd"].as_f64().unwrap(), 0.05, "sd");
    close(limits.bias.standard_error, printed["se_bias"].as_f64().unwrap(), 0.05, "se of the bias");
    close(limits.lower.standard_error, printed["se_loa"].as_f64().unwrap(), 0.05, "se of a limit");
    for (got, want) in limits.bias.interval.iter().zip(numbers(&printed["ci_bias"])) {
        close(*got, want, 0.1, "interval of the bias");
    }
    let full = &case["expected_full_precision"]["first_readings"];
    for (got, want) in [limits.lower.value, limits.upper.value].iter().zip(numbers(&full["loa_1p96sd"])) {
        close(*got, want, 2e-3, "limit");
    }
    for (first, second, name) in [("wright_first", "wright_second", "wright"), ("mini_first", "mini_second", "mini")] {
        let twice = pairs(first, second);
        let r = repeatability(twice.iter().map(<[f64; 2]>::as_slice)).unwrap();
        let want = &case["expected_full_precision"][format!("repeatability_{name}")];
        close(r.within_sd, want["within_subject_sd"].as_f64().unwrap(), 1e-9, name);
        close(r.coefficient, want["repeatability_1p96sqrt2_sw"].as_f64().unwrap(), 1e-2, name);
        // The paper takes twice the zero-mean standard deviation of the differences, rounded: 43.2 and 56.4.
        let printed = printed[format!("repeatability_{name}")].as_f64().unwrap();
        close(2.0 * std::f64::consts::SQRT_2 * r.within_sd, printed, 0.1, name);
    }
}

#[test]
fn technical_error_of_measurement() {
    let published = fixture("published");
    let pefr = case(&published, "Bland & Altman 1986 PEFR");
    let (first, second) = (numbers(&pefr["inputs"]["wright_first"]), numbers(&pefr["inputs"]["wright_second"]));
    let twice: Vec<f64> = first.into_iter().zip(second).flat_map(|(a, b)| [a, b]).collect();
    let t = technical_error(2, &twice).unwrap();
    let want = &case(&published, "TEM from PEFR duplicates")["expected_full_precision"];
    close(t.tem, want["TEM"].as_f64().unwrap(), 1e-9, "TEM");
    close(t.relative_percent, want["rel_TEM_percent"].as_f64().unwrap(), 1e-9, "relative TEM");
    close(t.reliability, want["R"].as_f64().unwrap(), 1e-9, "R");
    let ratings = numbers(&case(&published, "Shrout & Fleiss 1979 Table 2")["inputs"]["ratings"]);
    let want = &case(&published, "TEM several observers (K>2) on the Shrout & Fleiss table")["expected_full_precision"];
    close(technical_error(4, &ratings).unwrap().tem, want["TEM"].as_f64().unwrap(), 1e-12, "TEM of four");
}

fn name(component: &str) -> Component {
    Component::ALL.into_iter().find(|c| c.name() == component).unwrap()
}

#[test]
fn variance_components_of_a_statistics_package() {
    for case in fixture("variance_components")["cases"].as_array().unwrap() {
        let rows = case["rows"].as_array().unwrap();
        let text = |row: &Value, i: usize| row[i].as_str().unwrap().to_owned();
        let keys: Vec<[String; 4]> = rows.iter().map(|r| std::array::from_fn(|i| text(r, i))).collect();
        let data: Vec<_> = keys
            .iter()
            .zip(rows)
            .map(|([animal, foot, photo, observer], row)| Observation {
                animal,
                foot,
                photo,
                observer,
                value: row[4].as_f64().unwrap(),
            })
            .collect();
        let found = components(&data).unwrap();
        assert!(found.not_separable.is_empty());
        for (component, sd) in case["sd"].as_object().unwrap() {
            let (got, want) = (found.sd(name(component)).unwrap(), sd.as_f64().unwrap());
            close(got, want, 2e-3 * want.max(0.1), &format!("{} {component}", case["id"]));
        }
    }
}

/// Each end within 1 % of the interval's width, also where another component is zero on the way (`fixtures/agreement/profiles.R`).
#[test]
fn intervals_of_components_by_another_programs_likelihood() {
    let fixture = fixture("profiles");
    let (mut intervals, mut worst, mut wrong) = (0, 0.0_f64, Vec::new());
    for (id, study) in fixture["studies"].as_array().unwrap().iter().enumerate() {
        let column = |name: &str| -> Vec<String> {
            study[name].as_array().unwrap().iter().map(|v| v.as_u64().unwrap().to_string()).collect()
        };
        let [animal, foot, photo, observer] = ["animal", "foot", "photo", "observer"].map(column);
        let data: Vec<_> = numbers(&study["value"])
            .into_iter()
            .enumerate()
            .map(|(i, value)| Observation {
                animal: &animal[i],
                foot: &foot[i],
                photo: &photo[i],
                observer: &observer[i],
                value,
            })
            .collect();
        let found = components(&data).unwrap();
        for want in study["intervals"].as_array().unwrap() {
            let number = |key: &str| want[key].as_f64().unwrap();
            let component = name(want["component"].as_str().unwrap());
            let got = found.deviations.iter().find(|d| d.component == component).unwrap();
            let width = number("upper") - number("lower");
            let off = [got.interval[0] - number("lower"), got.interval[1] - number("upper"), got.sd - number("sd")];
            let share = off.into_iter().fold(0.0_f64, |most, o| most.max(o.abs() / width));
            worst = worst.max(share);
            if share > 0.01 {
                wrong.push(format!("study {} {}: {} {:?} for {want}", id + 1, component.name(), got.sd, got.interval));
            }
            intervals += 1;
        }
    }
    assert!(wrong.is_empty(), "{} of {intervals}, the worst by {worst:.3}:\n{}", wrong.len(), wrong.join("\n"));
    assert!(intervals >= 60, "{intervals}");
}

/// In a balanced two-way table the restricted likelihood gives the estimates of the analysis of variance.
#[test]
fn variance_components_of_a_balanced_table_are_those_of_its_mean_squares() {
    let ratings = numbers(&case(&fixture("published"), "Shrout & Fleiss 1979 Table 2")["inputs"]["ratings"]);
    let table = Ratings::new(4, ratings.clone()).unwrap().icc();
    let observers = ["A", "B", "C", "D"];
    let feet = ["1", "2", "3", "4", "5", "6"];
    let data: Vec<_> = ratings
        .iter()
        .enumerate()
        .map(|(i, v)| Observation {
            animal: feet[i / 4],
            foot: "LF",
            photo: "1",
            observer: observers[i % 4],
            value: *v,
        })
        .collect();
    let found = components(&data).unwrap();
    let square = |c| found.sd(c).unwrap().powi(2);
    close(square(Component::Animal), (table.between - table.error) / 4.0, 1e-4, "targets");
    close(square(Component::Observer), (table.raters - table.error) / 6.0, 1e-4, "judges");
    close(square(Component::Placement), table.error, 1e-4, "residual");
    assert_eq!(found.not_separable, [Component::Foot, Component::Photo, Component::ObserverOnPhoto]);
}

/// Simulated truth: estimates are right on average and the intervals hold it about as often as they say.
#[test]
fn variance_components_of_simulated_truth() {
    let truth = [1.5, 1.0, 0.6, 0.5, 0.3, 0.4];
    let runs = 20;
    let mut rng = rand_xoshiro::Xoshiro256PlusPlus::seed_from_u64(20);
    let mut normal = |sd: f64| sd * rng.sample::<f64, _>(StandardNormal);
    let animals: Vec<String> = (0..10).map(|i| i.to_string()).collect();
    let observers = ["A", "B", "C", "D", "E"];
    let (mut sums, mut inside) = ([0.0; 6], [0; 6]);
    for _ in 0..runs {
        let bias = observers.map(|_| normal(truth[3]));
        let mut data = Vec::new();
        for animal in &animals {
            let a = normal(truth[0]);
            for foot in ["LF", "RF"] {
                let f = normal(truth[1]);
                for photo in ["1", "2"] {
                    let p = normal(truth[2]);
                    for (o, observer) in observers.into_iter().enumerate() {
                        let c = normal(truth[4]);
                        for _ in 0..2 {
                            let value = 50.0 + a + f + p + bias[o] + c + normal(truth[5]);
                            data.push(Observation { animal, foot, photo, observer, value });
                        }
                    }
                }
            }
        }
        let found = components(&data).unwrap();
        for (i, d) in found.deviations.iter().enumerate() {
            assert_eq!(d.component, Component::ALL[i]);
            sums[i] += d.sd * d.sd;
            inside[i] += i32::from(d.interval[0] <= truth[i] && truth[i] <= d.interval[1]);
        }
    }
    for i in 0..6 {
        let mean = sums[i] / f64::from(runs);
        // The restricted estimates of variances are unbiased; with the fewest levels (five observers) 20 runs tell 40 %.
        assert!((mean / truth[i].powi(2) - 1.0).abs() < 0.4, "{}: {mean}", Component::ALL[i].name());
    }
    // 120 intervals at 95 %: fewer than 105 have a probability below 1e-3.
    let total: i32 = inside.iter().sum();
    assert!((105..=120).contains(&total), "{total} of 120 intervals hold the truth: {inside:?}");
}

#[test]
fn power_and_numbers_of_a_statistics_package() {
    let fixture = fixture("power");
    let design = |v: &Value| if v["design"] == "paired" { Design::Paired } else { Design::Groups };
    for case in fixture["power"].as_array().unwrap() {
        let n = case["n"].as_u64().unwrap() as u32;
        let got = power(design(case), n, case["effect"].as_f64().unwrap(), 1.0);
        close(got, case["power"].as_f64().unwrap(), 1e-6, &case.to_string());
    }
    for case in fixture["size"].as_array().unwrap() {
        let (effect, wanted) = (case["effect"].as_f64().unwrap(), case["power"].as_f64().unwrap());
        let got = animals_needed(design(case), effect, 1.0, wanted).unwrap();
        assert_eq!(f64::from(got), case["n"].as_f64().unwrap().ceil(), "{case}");
    }
}
