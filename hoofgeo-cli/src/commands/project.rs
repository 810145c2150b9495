//! `hoofgeo project`

use crate::Outcome;
use crate::args::ProjectArgs;
use crate::output::{no_picture_text, print, refusal_text};
use hoofgeo::project::{Growth, Heels, Plan, ProjectOptions, project_folder};
use hoofgeo::visit::write_whole;
use hoofgeo::{Error, Result};

pub(crate) fn run(args: &ProjectArgs) -> Result<Outcome> {
    let pictures = args.out.clone().filter(|_| !args.no_pictures);
    if let Some(out) = &args.out {
        std::fs::create_dir_all(out).map_err(|e| Error::io(out, "the output folder cannot be made", &e))?;
    }
    let options = ProjectOptions { plan: plan(args), pictures, visit: args.visit.options()? };
    let projected = project_folder(&args.path, &options, &mut |e| anstream::eprintln!("{}", refusal_text(e)))?;
    for why in projected.feet.iter().filter_map(|f| f.picture.as_ref()?.as_ref().err()) {
        anstream::eprintln!("{}", no_picture_text(why));
    }
    if let Some(out) = &args.out {
        write_whole(&out.join("projection.json"), projected.json().as_bytes())?;
    }
    if !args.quiet {
        print(projected.text())?;
    }
    Ok(if projected.refused.is_empty() { Outcome::Done } else { Outcome::SomeRefused })
}

fn plan(args: &ProjectArgs) -> Plan {
    let heels = match args.lower_heels {
        Some(mm) => Heels::Lowered(mm),
        None if args.heels_to_sole_plane => Heels::ToSolePlane,
        None => Heels::Left,
    };
    let growth = args.weeks.map(|weeks| {
        let own = Growth::weeks(weeks);
        let toe = args.growth.unwrap_or(own.toe_mm_per_month);
        Growth { toe_mm_per_month: toe, heel_mm_per_month: args.heel_growth.unwrap_or(toe), ..own }
    });
    Plan { heels, toe_back_mm: args.toe.unwrap_or(0.0), toe_lowered_mm: args.lower_toe.unwrap_or(0.0), growth }
}
