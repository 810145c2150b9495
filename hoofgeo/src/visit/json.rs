//! What `measurements.json` says of one photo.

use super::name::shown;
use super::photo::PhotoReport;
use super::ruler::RulerRead;
use crate::advice::Improvements;
use crate::error::{Error, Result};
use crate::evaluate::Value;
use crate::measured::{Measured, flag_meaning};
use crate::scene::{Known, Scene};
use serde_json::{Map, Value as Json, json};

pub(super) fn photo_json(report: &PhotoReport) -> Json {
    let s = &report.sidecar;
    let measured = &report.measured;
    let improvements = Improvements::new(s, measured);
    json!({
        "photo": report.name,
        "photo_sha256": report.photo_sha256,
        "sidecar_sha256": report.sidecar_sha256,
        "animal": s.subject.animal,
        "foot": s.subject.foot,
        "view": s.view,
        "side": s.side,
        "stage": s.stage,
        "taken": report.taken(),
        "observer": s.observer,
        "notes": s.notes,
        "placement": report.placement,
        "picture": report.picture.as_ref().and_then(|p| p.as_ref().ok()),
        "header": report.facts,
        "scene": scene_json(report),
        "findings": measured.findings,
        "measurements": measured.values.iter().map(|v| value_json(v, measured, &improvements)).collect::<Vec<_>>(),
        "not_measured": measured.missing.iter()
            .map(|(m, why)| json!({ "measurement": m.id, "why": why.to_string() }))
            .collect::<Vec<_>>(),
    })
}

pub(crate) fn refusal_json(photo: Option<&str>, error: &Error) -> Json {
    let place = error.place();
    json!({
        "photo": photo,
        "file": error.file().map(|f| shown(f.as_os_str())),
        "line": place.map(|p| p.line),
        "column": place.map(|p| p.column),
        "path": place.map(|p| p.path.as_str()).filter(|p| !p.is_empty()),
        "what": error.what(),
        "help": error.help_text(),
    })
}

/// What was read of the ruler, or why it was not.
fn ruler_json(read: &Result<RulerRead>) -> Json {
    match read {
        Ok(r) => json!({
            "numbered_by": r.numbered_by,
            "graduations": r.graduations.len(),
            "step_mm": r.step_mm,
            "rms_px": r.rms_px,
            "share_found": r.share_found,
            "margin": r.margin,
        }),
        Err(e) => json!({ "refused": e.what(), "help": e.help_text() }),
    }
}

fn known(k: Known) -> Json {
    json!({ "value": k.value, "u": k.u })
}

fn scene_json(report: &PhotoReport) -> Json {
    let scene: &Scene = &report.measured.scene;
    let [tilt_x, tilt_y] = scene.tilts_deg();
    let names = ["k1", "k2", "k3", "p1", "p2"];
    let distortion: Map<String, Json> =
        names.iter().zip(scene.distortion()).map(|(n, k)| ((*n).to_owned(), known(k))).collect();
    let residuals = &scene.fit.residuals_px;
    let read = report.ruler.as_ref().and_then(|r| r.as_ref().ok());
    let graduations: Vec<_> = if let Some(read) = read {
        let points = read.graduations.iter().zip(residuals);
        points.map(|(g, r)| json!({ "mm": g.mm, "at": g.at, "u_px": g.u_px, "residual_px": [r.x, r.y] })).collect()
    } else {
        let points = report.sidecar.scale.iter().flat_map(|s| &s.points).zip(residuals);
        points.map(|(g, r)| json!({ "mm": g.mm, "at": g.at, "residual_px": [r.x, r.y] })).collect()
    };
    let planes: Map<String, Json> = report
        .measured
        .located
        .planes
        .iter()
        .map(|p| {
            let u = p.u_behind_scale(&report.measured.located.planes[0]);
            let mut plane = json!({ "behind_scale_mm": p.mean[0], "u_mm": u[0], "tilt_u_deg": u[1].to_degrees() });
            if let Some((turn, u)) = p.shown_turn(scene) {
                plane["turned_deg"] = json!({ "value": turn.to_degrees(), "u": u.to_degrees() });
            }
            (p.name.name().to_owned(), plane)
        })
        .collect();
    json!({
        "scale": {
            "kind": report.sidecar.scale.as_ref().map(|s| s.kind),
            "graduations": graduations,
            "ruler_read": report.ruler.as_ref().map(ruler_json),
            "rms_px": scene.fit.rms_px,
            "chi_square": scene.fit.chi_square,
            "degrees_of_freedom": scene.fit.degrees_of_freedom,
        },
        "camera": {
            "lens_from": scene.lens_source.name(),
            "lens_profile": report.lens.profile,
            "lens_note": report.lens.remark(),
            "lens_forced": report.lens.forced,
            "focal_px": known(scene.focal_px()),
            "distance_mm": known(scene.distance_mm()),
            "px_per_mm": known(scene.magnification()),
            "tilt_x_deg": known(tilt_x),
            "tilt_y_deg": known(tilt_y),
            "distortion": distortion,
        },
        "planes": planes,
        "second_pose_probability": scene.second.map(|(_, p)| p),
        "flags": scene.flags.iter().map(|f| json!({ "flag": f.name(), "means": f.meaning() })).collect::<Vec<_>>(),
    })
}

fn value_json(value: &Value, measured: &Measured, improvements: &Improvements<'_>) -> Json {
    let advice = improvements.best(value);
    let budget: Map<String, Json> =
        value.budget.shares.iter().map(|(source, share)| (source.id().to_owned(), json!(share))).collect();
    let flags = measured.flags(value);
    let meanings: Map<String, Json> =
        flags.iter().filter_map(|f| flag_meaning(f).map(|m| ((*f).to_owned(), json!(m)))).collect();
    let mut out = json!({
        "measurement": value.measurement.id,
        "unit": value.measurement.quantity.unit(),
        "value": value.value,
        "u": value.u,
        "k": value.k,
        "expanded": value.expanded(),
        "degrees_of_freedom": value.dof,
        "lower": value.interval[0],
        "upper": value.interval[1],
        "method": value.method(),
        "flags": meanings,
        "budget": budget,
        "advice": advice.map(|a| a.to_string()),
        "advice_factor": advice.map(|a| a.factor),
    });
    if let (Some(s), Some(object)) = (&value.monte_carlo, out.as_object_mut()) {
        object.insert(
            "monte_carlo".to_owned(),
            json!({
                "draws": s.draws, "undefined": s.undefined, "mean": s.mean, "u": s.u,
                "shortest": s.shortest, "symmetric": s.symmetric, "linear_holds": !value.linear_fails,
            }),
        );
    }
    out
}
