//! `hoofgeo lens find`

use crate::Outcome;
use crate::args::LensFindArgs;
use crate::output::print_line;
use hoofgeo::lens::database::{Database, FocalFrom, Match, NoMatch, Optics, Why};
use hoofgeo::photo::{PhotoFacts, read_facts};
use hoofgeo::visit::write_whole;
use hoofgeo::{Error, ErrorKind, Result};
use std::fmt::Write;

pub(crate) fn run(args: &LensFindArgs) -> Result<Outcome> {
    let facts = read_facts(&args.photo)?;
    let database = match &args.database {
        Some(folder) => Database::read(folder)?,
        None => Database::system()?.ok_or_else(|| {
            Error::new(ErrorKind::Usage, "no lens database is installed on this system").help(
                "install the package liblensfun-data-v1 (Debian, Ubuntu) or lensfun, or name a copy's folder with --database; \
                 or calibrate the lens (`hoofgeo lens calibrate`)",
            )
        })?,
    };
    let optics = Optics::from(&facts);
    let mut text = header(&facts);
    match database.find(&optics, args.lens.as_deref()) {
        Ok(found) => {
            text += &entry(&found, &optics, &facts, &database);
            print_line(text)?;
            if let Some(out) = &args.out {
                let Some((profile, _)) = found.profile(&optics, (facts.width_px, facts.height_px)) else {
                    return Err(Error::new(ErrorKind::Photo, "states no focal length, so no profile can be made")
                        .in_file(&args.photo));
                };
                write_whole(out, profile.to_json().as_bytes())?;
                print_line(format_args!("written  {}", out.display()))?;
            }
            Ok(Outcome::Done)
        }
        Err(no) => {
            text += &nothing(&no);
            print_line(text)?;
            Ok(Outcome::SomeRefused)
        }
    }
}

/// What the photo's header says.
fn header(facts: &PhotoFacts) -> String {
    let or = |text: &Option<String>| text.clone().unwrap_or_else(|| "not stated".to_owned());
    let mm = |value: Option<f64>| value.map_or_else(|| "not stated".to_owned(), |v| format!("{v} mm"));
    format!(
        "camera   {}, {}\nlens     {}\nfocal    {}, 35 mm equivalent {}\n",
        or(&facts.make),
        or(&facts.model),
        or(&facts.lens_model),
        mm(facts.focal_mm),
        mm(facts.focal_35mm)
    )
}

fn entry(found: &Match<'_>, optics: &Optics, facts: &PhotoFacts, database: &Database) -> String {
    let frame = (facts.width_px, facts.height_px);
    let mut text = format!("entry    {} on {}, at {} mm", found.lens.model, found.camera.model, found.focal_mm);
    text += match found.focal_from {
        FocalFrom::Exif => "\n",
        FocalFrom::Equivalent => " (35 mm equivalent by the camera's crop factor)\n",
        FocalFrom::EntryInEquivalents => " (35 mm equivalent, as the entry is written)\n",
    };
    let terms: Vec<String> = found.model.named_terms().map(|(name, t)| format!("{name} = {t:.6}")).collect();
    let _ = writeln!(text, "model    {} {}", found.model.name(), terms.join(", "));
    if let Some((_, fit)) = found.profile(optics, frame) {
        let d = &fit.distortion;
        let _ = writeln!(
            text,
            "         as Brown-Conrady k1 = {:.5}, k2 = {:.5}, k3 = {:.5} at {:.0} px focal length; fits within {:.2} px RMS, \
             {:.2} px at most",
            d.k1, d.k2, d.k3, fit.focal_px, fit.residual_rms_px, fit.residual_max_px
        );
    }
    let _ = writeln!(text, "corner   {:.1} px off", found.correction(frame).corner_shift_px());
    let published = database.timestamp.map_or_else(String::new, |t| format!(", timestamp {t}"));
    let _ = writeln!(text, "database {}{published}; Lensfun project, CC BY-SA 3.0", database.folder.display());
    text += if found.camera.is_reflex() {
        "\n`measure` uses the entry by itself, unless a lens profile is there. If the camera was set to correct distortion in its JPEG\n\
         pictures, leave it out (`measure --no-lens-database`); `hoofgeo lens judge PHOTO` shows which it is."
    } else {
        "\n`measure` does not use the entry by itself: such cameras correct their pictures before they store them, and the entry is\n\
         for uncorrected ones. Where `hoofgeo lens judge PHOTO` shows that this one is not corrected, write a profile with --out\n\
         and name it as `lens` in the sidecar or visit.hoof.json."
    };
    text
}

fn nothing(no: &NoMatch) -> String {
    let mut text = format!("no entry {no}\n");
    for name in &no.candidates {
        let _ = writeln!(text, "         {name}");
    }
    text += match no.why {
        Why::LensNotStated | Why::LensAmbiguous | Why::LensUnknown if !no.candidates.is_empty() => {
            "\nIf the lens is one of these, name it: --lens \"NAME\". Otherwise calibrate it: `hoofgeo lens board`, `hoofgeo lens calibrate`."
        }
        Why::CameraNotStated => {
            "\nUse the camera's original file: copies sent through messengers lose what it says of the camera."
        }
        _ => {
            "\nCalibrate the lens once: `hoofgeo lens board` prints a board, `hoofgeo lens calibrate` makes a profile of photos of it."
        }
    };
    text
}
