//! The tables of `ruler_rates`.

use super::synth_ruler::{DECIMAL, DECIMAL_LONG};
use super::{Facts, Row, Way};
use hoofgeo::pixels::ruler::Acceptance;

/// Margins of the likelihood at which the rates are shown.
const MARGINS: [f64; 7] = [0.0, 3.0, 6.0, 9.0, 12.0, 18.0, 24.0];
/// Least lengths of the lines at which they are shown, mm.
const LENGTHS: [f64; 6] = [0.0, 1.2, 1.5, 1.8, 2.1, 2.4];

pub(super) fn print(all: &[Row]) {
    let of = |way: Way| all.iter().filter(|r| r.way == way).collect::<Vec<_>>();
    let (found, strange, marked) = (of(Way::Found), of(Way::Strange), of(Way::Marked));
    // A rule that is not metric makes the statement false; all others leave it true or have no rule.
    let (lied, honest): (Vec<&Row>, Vec<&Row>) =
        strange.iter().partition(|r| [DECIMAL, DECIMAL_LONG].contains(&r.picture.kind.as_str()));
    let usual = Acceptance::default();
    let readable: Vec<&Row> = found.iter().copied().filter(|r| r.picture.readable).collect();
    println!(
        "{} pictures of metric rules, {} of them readable; {} of other things; {} of decimal rules that are not metric",
        found.len(),
        readable.len(),
        honest.len(),
        lied.len()
    );
    println!("\n| least margin | readable found | wrong, metric rules | wrong, other things | wrong, decimal rules |");
    println!("| --- | --- | --- | --- | --- |");
    for margin in MARGINS {
        let taken =
            |r: &&&Row| r.loose.accepted && r.loose.margin >= margin && r.loose.line_length >= usual.line_length;
        line(&format!("{margin}"), &readable, [&found, &honest, &lied], taken);
    }
    println!(
        "\n| least length of the lines, mm | readable found | wrong, metric rules | wrong, other things | wrong, decimal rules |"
    );
    println!("| --- | --- | --- | --- | --- |");
    for length in LENGTHS {
        let taken = |r: &&&Row| r.loose.accepted && r.loose.margin >= usual.margin && r.loose.line_length >= length;
        line(&format!("{length}"), &readable, [&found, &honest, &lied], taken);
    }
    let n = readable.iter().filter(|r| r.usual.accepted && !r.usual.wrong).count();
    let wrong = |of: &[&Row]| of.iter().filter(|r| r.usual.accepted && r.usual.wrong).count();
    println!("\nat the usual limits: {} of {} found", n, readable.len());
    for (name, of) in
        [("metric rules", &found), ("other things", &honest), ("decimal rules", &lied), ("marked", &marked)]
    {
        println!("wrong, {name}: {} of {}", wrong(of), of.len());
    }
    let mut kinds: Vec<&str> = strange.iter().map(|r| r.picture.kind.as_str()).collect();
    kinds.sort_unstable();
    kinds.dedup();
    for kind in kinds {
        let of: Vec<&Row> = strange.iter().copied().filter(|r| r.picture.kind == kind).collect();
        let read = of.iter().filter(|r| r.usual.accepted && !r.usual.wrong).count();
        let loose = of.iter().filter(|r| r.loose.accepted && r.loose.wrong).count();
        println!(
            "{kind}: {} pictures, {} wrong, {loose} with no limits; the metric edge read on {read}",
            of.len(),
            wrong(&of)
        );
    }
    conditions("found", &found);
    conditions("marked", &marked);
    details(&found, &strange, &marked, &readable);
}

fn line(name: &str, readable: &[&Row], wrong_of: [&[&Row]; 3], taken: impl Fn(&&&Row) -> bool) {
    let n = readable.iter().filter(&taken).filter(|r| !r.loose.wrong).count();
    let wrong =
        wrong_of.map(|of| format!("{} of {}", of.iter().filter(&taken).filter(|r| r.loose.wrong).count(), of.len()));
    let share = 100.0 * n as f64 / readable.len().max(1) as f64;
    println!("| {name} | {n} of {}, {share:.1} % | {} |", readable.len(), wrong.join(" | "));
}

fn conditions(title: &str, of: &[&Row]) {
    type Test<'a> = (&'a str, fn(&Facts) -> bool);
    let tests: [Test<'_>; 19] = [
        ("all readable", |_| true),
        ("steel", |f| f.kind.contains("Steel")),
        ("white plastic", |f| f.kind.contains("White")),
        ("yellow tape", |f| f.kind.contains("Yellow")),
        ("wood", |f| f.kind.contains("Wood")),
        ("tilt below 15°", |f| f.tilt < 15.0),
        ("tilt 15 to 30°", |f| (15.0..30.0).contains(&f.tilt)),
        ("tilt 30 to 40°", |f| f.tilt >= 30.0),
        ("lines 3 to 5 px apart", |f| f.period < 5.0),
        ("lines 5 to 9 px apart", |f| (5.0..9.0).contains(&f.period)),
        ("lines over 9 px apart", |f| f.period >= 9.0),
        ("blur below 1 px", |f| f.blur < 1.0),
        ("blur 1 to 1.75 px", |f| (1.0..1.75).contains(&f.blur)),
        ("blur 1.75 to 2.5 px", |f| f.blur >= 1.75),
        ("noise below 3", |f| f.noise < 3.0),
        ("noise 3 to 6", |f| f.noise >= 3.0),
        ("dirty", |f| f.dirt),
        ("partly hidden", |f| f.hidden),
        ("glare", |f| f.glare),
    ];
    println!("\n{title}:\n| condition | readable | read | RMS, px | median photo, px | over stated u | lines |");
    println!("| --- | --- | --- | --- | --- | --- | --- |");
    for (name, test) in &tests {
        let of: Vec<&&Row> = of.iter().filter(|r| r.picture.readable && test(&r.picture)).collect();
        let ok: Vec<_> = of.iter().map(|r| &r.usual).filter(|u| u.accepted && !u.wrong).collect();
        let lines = ok.iter().map(|u| u.lines).sum::<usize>().max(1) as f64;
        let rms = |sum: f64| (sum / lines).sqrt();
        let mut each: Vec<f64> = ok.iter().map(|u| (u.px2 / u.lines as f64).sqrt()).collect();
        each.sort_by(f64::total_cmp);
        println!(
            "| {name} | {} | {} = {:.1} % | {:.3} | {:.3} | {:.2} | {:.0} |",
            of.len(),
            ok.len(),
            100.0 * ok.len() as f64 / of.len().max(1) as f64,
            rms(ok.iter().map(|u| u.px2).sum()),
            each.get(each.len() / 2).copied().unwrap_or(f64::NAN),
            rms(ok.iter().map(|u| u.normalised2).sum()),
            lines / ok.len().max(1) as f64
        );
    }
}

/// What to look into.
fn details(found: &[&Row], strange: &[&Row], marked: &[&Row], readable: &[&Row]) {
    for (title, of) in [("found", found), ("strange", strange), ("marked", marked)] {
        let mean = of.iter().map(|r| r.ms).sum::<f64>() / of.len().max(1) as f64;
        println!("\n{title}: mean time {mean:.0} ms; wrong:");
        for r in of.iter().filter(|r| r.usual.accepted && r.usual.wrong).take(30) {
            println!("  {} {} scale {:+.4} {}", r.picture.seed, r.picture.kind, r.usual.scale, r.usual.why);
        }
        println!("wrong with loose limits alone:");
        for r in of.iter().filter(|r| r.loose.accepted && r.loose.wrong && !r.usual.wrong).take(30) {
            println!("  {} {} scale {:+.4} {}", r.picture.seed, r.picture.kind, r.loose.scale, r.loose.why);
        }
    }
    for (title, of) in [("found", readable), ("marked", marked)] {
        println!("\n{title}, readable, refused:");
        for r in of.iter().filter(|r| r.picture.readable && !r.usual.accepted).take(40) {
            let f = &r.picture;
            println!(
                "  {} {} period {:.1} blur {:.1} noise {:.1} tilt {:.0}: {}",
                f.seed,
                f.kind,
                f.period,
                f.blur,
                f.noise,
                f.tilt,
                r.usual.why.lines().next().unwrap_or_default()
            );
        }
    }
}
