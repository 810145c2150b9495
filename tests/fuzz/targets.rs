//! What is fuzzed.

use super::{Target, seeds};
use hoofgeo::calibrate::{ImportOptions, import_opencv};
use hoofgeo::lens::database::{Database, Optics};
use hoofgeo::measured::{MeasureOptions, measure};
use hoofgeo::photo::{decode_upright_bytes, facts_from_bytes};
use hoofgeo::pixels::Grey;
use hoofgeo::pixels::quality;
use hoofgeo::pixels::ruler::find_metric;
use hoofgeo::placement::PlacementTable;
use hoofgeo::review::Rules;
use hoofgeo::scene::LensPrior;
use hoofgeo::shape::tps;
use hoofgeo::sidecar::{Draft, LensProfile, Sidecar, Visit};
use hoofgeo::visit::{Outputs, Stop, join};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::OnceLock;

/// All of them.
pub(crate) const ALL: &[Target] = &[
    Target { name: "sidecar", run: sidecar, seeds: seeds::sidecars, words: WORDS, json: true },
    Target { name: "visit", run: visit, seeds: seeds::visits, words: WORDS, json: true },
    Target { name: "lens", run: lens, seeds: seeds::lenses, words: WORDS, json: true },
    Target { name: "rules", run: rules, seeds: seeds::rules, words: WORDS, json: true },
    Target { name: "placement", run: placement, seeds: seeds::placements, words: WORDS, json: true },
    Target { name: "drafts", run: drafts, seeds: seeds::sidecars, words: WORDS, json: true },
    Target { name: "measure", run: measured, seeds: seeds::sidecars, words: WORDS, json: true },
    Target { name: "headers", run: headers, seeds: seeds::pictures, words: CONTAINERS, json: false },
    Target { name: "pixels", run: pixels, seeds: seeds::pictures, words: CONTAINERS, json: false },
    Target { name: "calibration", run: calibration, seeds: seeds::calibrations, words: STORAGE, json: false },
    Target { name: "database", run: database, seeds: seeds::databases, words: XML, json: false },
    Target { name: "tps", run: landmarks, seeds: seeds::landmarks, words: TPS, json: false },
    Target { name: "journal", run: journal, seeds: seeds::journals, words: WORDS, json: false },
    Target { name: "join", run: joined, seeds: seeds::parts, words: WORDS, json: false },
    #[cfg(feature = "place")]
    Target { name: "requests", run: requests, seeds: seeds::requests, words: HTTP, json: false },
];

const WORDS: &[&str] = &[
    "format",
    "hoofgeo-sidecar/1",
    "hoofgeo-visit/1",
    "hoofgeo-lens/1",
    "photo",
    "file",
    "width_px",
    "height_px",
    "subject",
    "animal",
    "foot",
    "LF",
    "RH",
    "view",
    "lateral",
    "solar",
    "side",
    "medial",
    "stage",
    "before_trim",
    "taken",
    "2026-05-04T09:30:00+01:00",
    "2026-02-30",
    "observer",
    "lens",
    "scale",
    "kind",
    "straight_ruler",
    "l_shaped_ruler",
    "card_id1",
    "board",
    "tolerance",
    "class",
    "II",
    "u_rel",
    "points",
    "mm",
    "at",
    "u_px",
    "metric",
    "planes",
    "near_heel",
    "behind_scale_mm",
    "u_mm",
    "tilt_deg",
    "landmarks",
    "toe_coronet",
    "toe_ground",
    "heel_coronet",
    "heel_ground",
    "lines",
    "outer_wall",
    "frog",
    "white_line",
    "gauge",
    "notes",
    "snapped",
    "camera",
    "make",
    "model",
    "focal_px",
    "principal_point_px",
    "distortion",
    "covariance",
    "k1",
    "p1",
    "null",
    "true",
    "[[[[[[[[",
    "{\"a\":",
    "\\u0000",
    "\\ud800",
    "1e999",
    "\t",
    "\n",
    "../../",
    "heel_angle",
    "deg",
    "confidence",
    "rules",
    "along_mm",
];

const CONTAINERS: &[&str] = &[
    "Exif\0\0",
    "MM\0*",
    "II*\0",
    "IHDR",
    "IDAT",
    "IEND",
    "iCCP",
    "zTXt",
    "tRNS",
    "PLTE",
    "eXIf",
    "acTL",
    "fcTL",
    "fdAT",
    "gAMA",
    "cICP",
    "RIFF",
    "WEBPVP8 ",
    "WEBPVP8L",
    "WEBPVP8X",
    "ALPH",
    "ANIM",
    "ANMF",
    "EXIF",
    "ICCP",
    "ftypheic",
    "meta",
    "pitm",
    "iprp",
    "ipco",
    "ipma",
    "ispe",
    "irot",
    "imir",
    "clap",
    "iloc",
    "iinf",
    "\0\0\0\0",
    "\0\0\0\u{1}",
];

const STORAGE: &[&str] = &[
    "%YAML:1.0\n---\n",
    "!!opencv-matrix",
    "rows:",
    "cols:",
    "dt: d",
    "data: [",
    "camera_matrix",
    "K1",
    "distortion_coefficients",
    "image_width",
    "<opencv_storage>",
    "</opencv_storage>",
    "<rows>",
    "<data>",
    "type_id=\"opencv-matrix\"",
    ".Nan",
    ".Inf",
    "{",
    "}",
    "[",
    "]",
    "\"",
    "    ",
];

const TPS: &[&str] = &[
    "LM=",
    "LM3=",
    "CURVES=",
    "OUTLINES=",
    "POINTS=",
    "IMAGE=",
    "ID=",
    "SCALE=",
    "NA",
    "-1 -1",
    "1e999",
    "99999999",
    "\n",
    "\r",
];

const XML: &[&str] = &[
    "<lensdatabase>",
    "</lensdatabase>",
    "<lens>",
    "</lens>",
    "<camera>",
    "<mount>",
    "<model>",
    "<maker>",
    "<cropfactor>",
    "<calibration>",
    "<distortion model=\"ptlens\" focal=\"20\" a=\"0.02\"/>",
    "focal=",
    "k1=",
    "poly3",
    "<aspect-ratio>",
    "4:3",
    "<!DOCTYPE",
    "<!ENTITY a \"b\">",
    "&a;",
    "<![CDATA[",
    "]]>",
    "<!--",
    "-->",
    "nan",
    "inf",
    "1e999",
];

#[cfg(feature = "place")]
const HTTP: &[&str] = &[
    "GET ",
    "POST ",
    " HTTP/1.1\r\n",
    "\r\n\r\n",
    "Content-Length: ",
    "Host: ",
    "Transfer-Encoding: chunked\r\n",
    "Connection: close\r\n",
    "/api/visit",
    "/api/photo/0",
    "18446744073709551615",
    "-1",
    "+1",
    ":",
    "\r",
    "\n",
    " ",
    "\t",
];

/// An answer: the words of an error without what varies, or that there is none.
fn told<T>(result: &hoofgeo::Result<T>) -> u64 {
    let mut hash = DefaultHasher::new();
    match result {
        Ok(_) => 0.hash(&mut hash),
        Err(e) => {
            let mut quoted = false;
            let words = e.what().bytes().filter(|byte| {
                quoted ^= matches!(byte, b'`' | b'"');
                !quoted && byte.is_ascii_lowercase()
            });
            // Behind the first words may stand what an input says.
            words.take(32).for_each(|byte| byte.hash(&mut hash));
            // How deep in the tree, not under which names.
            e.place().map(|p| p.path.bytes().filter(|b| matches!(b, b'.' | b'[')).count().min(6)).hash(&mut hash);
        }
    }
    hash.finish()
}

fn shared() -> &'static Visit {
    static VISIT: OnceLock<Visit> = OnceLock::new();
    VISIT.get_or_init(|| Visit::parse_bytes(&seeds::visits()[0]).expect("a good visit"))
}

fn sidecar(bytes: &[u8]) -> u64 {
    let read = Sidecar::parse_bytes(bytes, None);
    if let Ok(sidecar) = &read {
        let again = Sidecar::parse(&sidecar.to_json(), None);
        assert!(again.is_ok(), "what is written cannot be read: {again:?}");
    }
    if let Err(e) = &read {
        // The words for people are made too.
        assert!(!e.to_string().is_empty());
    }
    told(&read) ^ told(&Sidecar::parse_bytes(bytes, Some(shared()))).rotate_left(1)
}

fn visit(bytes: &[u8]) -> u64 {
    told(&Visit::parse_bytes(bytes))
}

fn lens(bytes: &[u8]) -> u64 {
    let read = LensProfile::parse_bytes(bytes);
    if let Ok(profile) = &read {
        let prior = profile.prior((profile.frame.width_px, profile.frame.height_px));
        assert!(prior.is_ok_and(|p| p.mean.iter().all(|x| x.is_finite())), "a good profile gives no prior");
        let again = LensProfile::parse(&profile.to_json());
        assert!(again.is_ok(), "what is written cannot be read: {again:?}");
    }
    told(&read)
}

fn rules(bytes: &[u8]) -> u64 {
    told(&Rules::parse(bytes))
}

fn placement(bytes: &[u8]) -> u64 {
    let read = std::str::from_utf8(bytes).map_or(Ok(None), |text| PlacementTable::parse(text).map(Some));
    if let Ok(Some(table)) = &read {
        assert!(PlacementTable::parse(&table.to_json()).is_ok(), "what is written cannot be read");
    }
    told(&read)
}

fn landmarks(bytes: &[u8]) -> u64 {
    let read = std::str::from_utf8(bytes).map_or(Ok(Vec::new()), tps::read);
    if let Ok(specimens) = &read
        && !specimens.is_empty()
    {
        let again = tps::read(&tps::write(specimens)).expect("what is written can be read");
        assert!(again.iter().map(|s| &s.landmarks).eq(specimens.iter().map(|s| &s.landmarks)), "landmarks change");
    }
    told(&read)
}

fn drafts(bytes: &[u8]) -> u64 {
    let read = Draft::parse_bytes(bytes);
    let Ok(draft) = &read else { return told(&read) };
    assert!(Draft::parse(&draft.to_json()).is_ok(), "what is written cannot be read");
    let settled = draft.settled(Some(shared()));
    if let Ok((settled, _)) = &settled {
        assert!(settled.provisional(Some(shared())).is_ok(), "what was settled does not stand");
    }
    told(&draft.sidecar(None)) ^ told(&draft.provisional(Some(shared()))).rotate_left(1) ^ told(&settled).rotate_left(2)
}

/// From the sidecar to values.
fn measured(bytes: &[u8]) -> u64 {
    let read = Sidecar::parse_bytes(bytes, None);
    let Ok(sidecar) = &read else { return told(&read) };
    let frame = (sidecar.photo.width_px, sidecar.photo.height_px);
    let options = MeasureOptions { draws: 8, seed: 1, ..MeasureOptions::default() };
    let measured = measure(sidecar, &LensPrior::exif(frame, 0.8 * f64::from(frame.0.max(frame.1))), &options);
    if let Ok(measured) = &measured {
        for v in &measured.values {
            assert!(
                v.value.is_finite() && v.u.is_finite() && v.u >= 0.0,
                "{} = {} ± {}",
                v.measurement.id,
                v.value,
                v.u
            );
            let _ = hoofgeo::uncertainty::print(v.value, v.expanded(), v.measurement.quantity.unit()).to_string();
        }
        return measured.values.len() as u64;
    }
    told(&measured)
}

fn headers(bytes: &[u8]) -> u64 {
    let facts = facts_from_bytes(bytes);
    if let Ok(facts) = &facts {
        let words: String = facts.remarks.iter().map(ToString::to_string).collect();
        assert!(!words.chars().any(char::is_control), "{words:?}");
        assert!(facts.prior_focal_px().is_none_or(|f| f.is_finite() && f > 0.0));
        return facts.remarks.iter().fold(facts.photo_type as u64, |n, r| {
            n * 31 + r.to_string().bytes().take(12).fold(0, |n, b| n * 7 + u64::from(b))
        });
    }
    told(&facts)
}

/// Pictures larger than this are left to `headers`: what is looked for here is not how long a large one takes.
const MOST_PIXELS: u64 = 1 << 16;

fn pixels(bytes: &[u8]) -> u64 {
    let facts = facts_from_bytes(bytes);
    let Ok(facts) = &facts else { return told(&facts) };
    if u64::from(facts.width_px) * u64::from(facts.height_px) > MOST_PIXELS {
        return 1;
    }
    let decoded = decode_upright_bytes(bytes, facts);
    let Ok(photo) = &decoded else { return told(&decoded) };
    assert_eq!(photo.dimensions(), (facts.width_px, facts.height_px));
    let found = quality::inspect(photo, None, None).len() as u64;
    let read = find_metric(&Grey::of(photo));
    2 + found + told(&read)
}

fn calibration(bytes: &[u8]) -> u64 {
    let Ok(text) = std::str::from_utf8(bytes) else { return 0 };
    let read = import_opencv(text, &ImportOptions::default());
    if let Ok(profile) = &read {
        assert!(LensProfile::parse(&profile.to_json()).is_ok(), "what is written cannot be read");
    }
    told(&read)
}

fn database(bytes: &[u8]) -> u64 {
    let Ok(text) = std::str::from_utf8(bytes) else { return 0 };
    let mut database = Database::default();
    let read = database.add(text);
    let some = |s: &str| Some(s.to_owned());
    for model in ["Fell R2", "Fell Pocket", "Wide"] {
        let optics = Optics {
            make: some("FELL OPTICAL CORP."),
            model: some(model),
            lens: some("Fell 20-60mm"),
            focal_mm: Some(24.0),
            focal_35mm: Some(38.0),
        };
        if let Ok(found) = database.find(&optics, None) {
            let focal = found.focal_px(&optics, (640, 480));
            if let Some(focal) = focal.filter(|f| f.is_finite() && *f > 0.0) {
                let _ = found.correction((640, 480)).brown_conrady(focal);
            }
        }
    }
    told(&read)
}

fn journal(bytes: &[u8]) -> u64 {
    std::str::from_utf8(bytes).map_or(0, |text| hoofgeo::fuzzing::stored(text) as u64)
}

/// Between the files of a part: no text holds this byte.
pub(crate) const BETWEEN: u8 = 0xff;

fn joined(bytes: &[u8]) -> u64 {
    thread_local! {
        static FOLDER: tempfile::TempDir = tempfile::tempdir().expect("a folder");
    }
    FOLDER.with(|folder| {
        let part = folder.path().join("part");
        let _ = std::fs::create_dir(&part);
        for (name, content) in seeds::part().iter().map(|(name, _)| name).zip(bytes.split(|b| *b == BETWEEN)) {
            std::fs::write(part.join(name), content).expect("a file");
        }
        let outputs = Outputs::in_folder(folder.path().join("whole"));
        told(&join(&[part], &outputs, &Stop::new()))
    })
}

#[cfg(feature = "place")]
fn requests(bytes: &[u8]) -> u64 {
    u64::from(hoofgeo::fuzzing::request(bytes))
}
