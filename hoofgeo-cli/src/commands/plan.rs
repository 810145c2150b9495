//! `hoofgeo plan`

use crate::Outcome;
use crate::args::PlanArgs;
use crate::output::{print_line, refusal_text};
use hoofgeo::agreement::planning::Design;
use hoofgeo::measure;
use hoofgeo::observers::{Reading, read_folders};
use hoofgeo::study::{PlannedPhoto, Question, precision};
use hoofgeo::uncertainty::print as rounded;
use hoofgeo::{Error, ErrorKind, Result};

pub(crate) fn run(args: &PlanArgs) -> Result<Outcome> {
    let measurement = measure::find(&args.measurement).ok_or_else(|| {
        Error::new(ErrorKind::Usage, format!("`{}` is no measurement", args.measurement))
            .help("`hoofgeo explain` lists them all")
    })?;
    let (readings, refused) = read_folders(&[&args.folder], &args.visit.options()?)?;
    for error in &refused {
        anstream::eprintln!("{}", refusal_text(error));
    }
    let photo = |r: Reading| PlannedPhoto { sidecar: r.sidecar, lens: r.lens, how: r.how };
    let photos: Vec<_> = readings.into_iter().map(photo).collect();
    let (found, values) = precision(&photos, measurement)?;
    let question = Question {
        design: if args.groups { Design::Groups } else { Design::Paired },
        difference: args.difference,
        power: args.power,
        animals_sd: args.animals_sd,
        photos: args.photos,
        placements: args.placements,
    };
    let unit = measurement.quantity.unit();
    let of = |x: f64| {
        let printed = rounded(x, x.abs() / 5.0, unit);
        format!("{}{}", printed.value, printed.unit)
    };
    let who = if args.groups { "animals in each of two groups" } else { "animals, each compared with itself" };
    print_line(format_args!(
        "{}: a difference of {} found with a probability of {:.0} %, two-sided at 5 %\n{who}, {} photo(s) each time, {} placement(s) each\n",
        measurement.name,
        of(args.difference),
        100.0 * args.power,
        args.photos,
        args.placements
    ))?;
    print_line(format_args!("{:<28}{:>8}{:>14}{:>14}{:>10}", "", "photos", "u, one photo", "of placing", "animals"))?;
    for p in &found {
        let animals = question.animals(p).map_or_else(|_| "> 1000000".to_owned(), |n| n.to_string());
        print_line(format_args!(
            "{:<28}{:>8}{:>14}{:>14}{animals:>10}",
            p.change.name(),
            p.photos,
            of(p.u),
            of(p.placement)
        ))?;
    }
    // Refuses a difference or power that makes no sense, in words.
    if let Some(first) = found.first() {
        question.animals(first)?;
    }
    if args.groups && values.len() < 2 {
        print_line("the spread between animals is yours to know: these photos cannot show it")?;
    }
    print_line(
        "\nA photo's uncertainty counts as new each time, which is cautious where photos share a ruler or lens.",
    )?;
    Ok(if refused.is_empty() { Outcome::Done } else { Outcome::SomeRefused })
}
