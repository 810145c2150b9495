//! What the types alone do not say: numbers in range, points in the frame, scales and outlines that can be.

use super::fault::Fault;
use super::limits;
use super::model::{
    Carried, Gauge, Graduation, PhotoRef, PlaneSpec, Scale, ScaleKind, Sidecar, Snapped, Tolerance, Visit,
};
use super::raw::SharedScale;
use super::{outline, time};
use crate::PlaneName;
use std::collections::BTreeMap;

type Checked = Result<(), Fault>;

/// Everything of a sidecar.
pub(super) fn sidecar(s: &Sidecar) -> Checked {
    photo(&s.photo).map_err(|e| e.within("photo"))?;
    // An absent name is empty in the type, so only a blank one can be told from it.
    text("animal", Some(&s.subject.animal).filter(|a| !a.is_empty())).map_err(|e| e.within("subject"))?;
    date(s.taken.as_deref())?;
    texts([("observer", &s.observer), ("lens", &s.lens), ("notes", &s.notes)])?;
    if let Some(scale) = &s.scale {
        whole_scale(scale, &s.photo).map_err(|e| e.within("scale"))?;
    }
    planes(&s.planes)?;
    for (landmark, placement) in &s.landmarks {
        let check = || {
            if placement.at.is_empty() {
                return Err(Fault::new("no point is given").within("at"));
            }
            for (i, point) in placement.at.iter().enumerate() {
                in_frame(*point, &s.photo).map_err(|e| {
                    let e = if placement.at.len() > 1 { e.within(i) } else { e };
                    e.within("at")
                })?;
            }
            uncertainty("u_px", placement.u_px, limits::U_PX, Zero::Refused)?;
            uncertainty("u_mm", placement.u_mm, limits::MM, Zero::Allowed)?;
            if let Some(moved) = &placement.snapped {
                snapped(moved, placement.at.len(), &s.photo).map_err(|e| e.within("snapped"))?;
            }
            match &placement.carried {
                Some(from) => carried(from, placement.at.len()).map_err(|e| e.within("carried")),
                None => Ok(()),
            }
        };
        if landmark.info().view != s.view {
            return Err(Fault::new(format!("`{landmark}` is not a landmark of this view")).within("landmarks"));
        }
        check().map_err(|e| e.within(landmark.name()).within("landmarks"))?;
    }
    for (line, points) in &s.lines {
        if line.info().view != s.view {
            return Err(Fault::new(format!("`{line}` is not a line of this view")).within("lines"));
        }
        let check = || {
            for (i, point) in points.iter().enumerate() {
                in_frame(*point, &s.photo).map_err(|e| e.within(i))?;
            }
            outline::check(points, line.info().closed)
        };
        check().map_err(|e| e.within(line.name()).within("lines"))?;
    }
    gauge(&s.gauge).map_err(|e| e.within("gauge"))
}

fn snapped(s: &Snapped, placements: usize, photo: &PhotoRef) -> Checked {
    if placements != 1 {
        return Err(Fault::new("only a landmark placed once can have been moved to an edge")
            .help("repeated placements show how far clicks scatter: leave `snapped` out"));
    }
    in_frame(s.from, photo).map_err(|e| e.within("from"))?;
    if s.edge == [0.0; 2] {
        return Err(Fault::new("[0, 0] is no direction").within("edge"));
    }
    uncertainty("u_px", Some(s.u_px), limits::U_PX, Zero::Refused)
}

fn carried(c: &Carried, placements: usize) -> Checked {
    if placements != 1 {
        return Err(Fault::new("only a landmark placed once can have been carried over")
            .help("repeated placements are clicks of this photo: leave `carried` out"));
    }
    text("from_photo", Some(&c.from_photo))?;
    // The other photo's frame is not known here.
    if c.at.iter().any(|x| !(0.0..=f64::from(limits::FRAME_PX)).contains(x)) {
        return Err(Fault::new(format!("[{}, {}] lies outside any photo", c.at[0], c.at[1])).within("at"));
    }
    uncertainty("u_px", Some(c.u_px), limits::U_PX, Zero::Refused)
}

/// Everything of a visit that can be judged without its photos.
pub(super) fn visit(v: &Visit) -> Checked {
    if let Some(subject) = &v.subject {
        text("animal", subject.animal.as_ref()).map_err(|e| e.within("subject"))?;
    }
    date(v.taken.as_deref())?;
    texts([("observer", &v.observer), ("lens", &v.lens)])?;
    texts(v.texts())?;
    interval(v.interval_weeks)?;
    if let Some(scale) = &v.scale {
        shared_scale(scale).map_err(|e| e.within("scale"))?;
    }
    planes(&v.planes.0)
}

fn photo(p: &PhotoRef) -> Checked {
    if p.file.trim().is_empty() {
        return Err(Fault::new("must name the photo's file").within("file"));
    }
    if p.file.contains(['/', '\\']) {
        return Err(Fault::new("must be a file name without a folder")
            .help("a photo and its sidecar stand in one folder")
            .within("file"));
    }
    for (key, side) in [("width_px", p.width_px), ("height_px", p.height_px)] {
        if !(1..=limits::FRAME_PX).contains(&side) {
            return Err(Fault::new(format!("must be 1 to {} px, not {side}", limits::FRAME_PX)).within(key));
        }
    }
    Ok(())
}

/// A text that is given says something.
pub(super) fn text(key: &str, text: Option<&String>) -> Checked {
    match text {
        Some(t) if t.trim().is_empty() => {
            Err(Fault::new("must not be empty text").help("leave the key out, or write null").within(key))
        }
        _ => Ok(()),
    }
}

fn date(taken: Option<&str>) -> Checked {
    if let Some(taken) = taken
        && !time::is_valid(taken)
    {
        return Err(Fault::new(format!("\"{}\" is no date and time", super::fault::short(taken)))
            .help("write it as 2026-05-04T09:30:00, 2026-05-04T09:30:00+01:00 or 2026-05-04")
            .within("taken"));
    }
    Ok(())
}

fn texts<const N: usize>(texts: [(&str, &Option<String>); N]) -> Checked {
    texts.into_iter().try_for_each(|(key, value)| text(key, value.as_ref()))
}

fn interval(weeks: Option<f64>) -> Checked {
    match weeks {
        Some(w) if !(w > 0.0 && w <= limits::INTERVAL_WEEKS) => {
            let what = format!("{w} weeks cannot be meant: more than 0 and at most {}", limits::INTERVAL_WEEKS);
            Err(Fault::new(what).within("interval_weeks"))
        }
        _ => Ok(()),
    }
}

#[derive(Clone, Copy, PartialEq)]
enum Zero {
    Allowed,
    Refused,
}

/// A standard uncertainty: not negative, not absurd, and above 0 where a weight is made from it.
fn uncertainty(key: &str, u: Option<f64>, most: f64, zero: Zero) -> Checked {
    let Some(u) = u else { return Ok(()) };
    let fault = if u < 0.0 {
        Fault::new(format!("an uncertainty cannot be negative, here it is {u}"))
    } else if u == 0.0 && zero == Zero::Refused {
        Fault::new("an uncertainty of 0 px claims a perfect mark").help("leave the key out for the usual value")
    } else if u > most || u.is_nan() {
        Fault::new(format!("{u} is too much to be meant, {most} is the most"))
    } else {
        return Ok(());
    };
    Err(fault.within(key))
}

/// A length or coordinate within what can be meant.
fn within(key: &str, value: Option<f64>, most: f64) -> Checked {
    match value {
        Some(v) if v.abs() > most || v.is_nan() => {
            Err(Fault::new(format!("{v} mm is too far to be meant, {most} mm is the most")).within(key))
        }
        _ => Ok(()),
    }
}

fn planes(planes: &BTreeMap<PlaneName, PlaneSpec>) -> Checked {
    for (name, p) in planes {
        within("behind_scale_mm", p.behind_scale_mm, limits::MM)
            .and_then(|()| uncertainty("u_mm", p.u_mm, limits::MM, Zero::Allowed))
            .and_then(|()| uncertainty("tilt_u_deg", p.tilt_u_deg, limits::TILT_DEG, Zero::Allowed))
            .map_err(|e| e.within(name.name()).within("planes"))?;
    }
    Ok(())
}

fn gauge(g: &Gauge) -> Checked {
    let Some(heel) = &g.heel_above_sole_plane_mm else { return Ok(()) };
    let check = || {
        if heel.medial.is_none() && heel.lateral.is_none() {
            return Err(Fault::new("the gauge has no value: write `medial`, `lateral` or both"));
        }
        within("medial", heel.medial, limits::GAUGE_MM)?;
        within("lateral", heel.lateral, limits::GAUGE_MM)?;
        uncertainty("u_mm", heel.u_mm, limits::GAUGE_MM, Zero::Allowed)
    };
    check().map_err(|e| e.within("heel_above_sole_plane_mm"))
}

fn in_frame([x, y]: [f64; 2], photo: &PhotoRef) -> Checked {
    let (w, h) = (f64::from(photo.width_px), f64::from(photo.height_px));
    if (0.0..=w).contains(&x) && (0.0..=h).contains(&y) {
        return Ok(());
    }
    Err(Fault::new(format!("[{x}, {y}] lies outside the photo, which is {w} x {h} px"))
        .help("pixels are counted from the top left corner of the upright photo, x first"))
}

/// What can be said of a scale before it is known which photo it lies in, and even of what kind it is.
fn shared_scale(s: &SharedScale) -> Checked {
    scale_numbers(s.tolerance, s.u_px, s.tilt_u_deg)?;
    metric(s.kind, s.metric)?;
    match (s.kind, &s.points) {
        (Some(kind), Some(points)) => graduations(kind, points),
        _ => Ok(()),
    }
}

fn whole_scale(s: &Scale, photo: &PhotoRef) -> Checked {
    scale_numbers(s.tolerance, s.u_px, s.tilt_u_deg)?;
    metric(Some(s.kind), s.metric)?;
    for (i, g) in s.points.iter().enumerate() {
        in_frame(g.at, photo).map_err(|e| e.within("at").within(i).within("points"))?;
    }
    graduations(s.kind, &s.points)
}

fn scale_numbers(tolerance: Option<Tolerance>, u_px: Option<f64>, tilt_u_deg: Option<f64>) -> Checked {
    if let Some(Tolerance::URel(u)) = tolerance {
        uncertainty("u_rel", Some(u), limits::U_REL, Zero::Allowed).map_err(|e| e.within("tolerance"))?;
    }
    uncertainty("u_px", u_px, limits::U_PX, Zero::Refused)?;
    uncertainty("tilt_u_deg", tilt_u_deg, limits::TILT_DEG, Zero::Allowed)
}

fn metric(kind: Option<ScaleKind>, metric: Option<bool>) -> Checked {
    match (kind, metric) {
        (Some(kind), Some(_)) if kind != ScaleKind::StraightRuler => {
            Err(Fault::new("only a straight ruler can be said to be metric").within("metric"))
        }
        _ => Ok(()),
    }
}

fn graduations(kind: ScaleKind, points: &[Graduation]) -> Checked {
    if points.is_empty() {
        return Ok(());
    }
    for (i, g) in points.iter().enumerate() {
        graduation(kind, g).map_err(|e| e.within("mm").within(i).within("points"))?;
        for (j, earlier) in points[..i].iter().enumerate() {
            if g.mm == earlier.mm {
                let what = format!("points [{j}] and [{i}] name the same place on the scale, {}", mm_text(g));
                return Err(Fault::new(what).within("mm").within(i).within("points"));
            }
            if g.at == earlier.at {
                let what = format!("points [{j}] and [{i}] lie on the same pixel but differ in mm");
                return Err(Fault::new(what).within("at").within(i).within("points"));
            }
        }
    }
    let (least, name) = match kind {
        ScaleKind::StraightRuler => (2, "a straight ruler"),
        ScaleKind::SquareRuler => (4, "a square ruler"),
        ScaleKind::Card => (4, "a card"),
        ScaleKind::Board => (4, "a board"),
    };
    if points.len() < least {
        let what = format!("{name} needs at least {least} points, here {}", count(points.len()));
        return Err(Fault::new(what).within("points"));
    }
    if kind.is_two_dimensional() && on_one_line(points) {
        return Err(Fault::new(format!("the points of {name} must not all lie on one line of the scale"))
            .help("add points of its other edge, or write \"straight_ruler\"")
            .within("points"));
    }
    Ok(())
}

fn graduation(kind: ScaleKind, g: &Graduation) -> Checked {
    let [x, y] = g.mm;
    if !(x.abs() <= limits::MM && y.abs() <= limits::MM) {
        return Err(Fault::new(format!("{} is too far to be meant, {} mm is the most", mm_text(g), limits::MM)));
    }
    match kind {
        ScaleKind::StraightRuler if y != 0.0 => {
            Err(Fault::new("on a straight ruler y is 0").help("write the distance along its edge as one number"))
        }
        ScaleKind::Card => {
            let [w, h] = limits::CARD_MM;
            if g.is_number {
                Err(Fault::new("on a card `mm` is `[x, y]`, from one of its corners"))
            } else if !((0.0..=w).contains(&x) && (0.0..=h).contains(&y)) {
                Err(Fault::new(format!(
                    "[{x}, {y}] lies off the card, which is {w:.2} x {h:.2} mm (ISO/IEC 7810 ID-1)"
                )))
            } else {
                Ok(())
            }
        }
        _ => Ok(()),
    }
}

fn mm_text(g: &Graduation) -> String {
    if g.is_number { format!("{} mm", g.mm[0]) } else { format!("[{}, {}] mm", g.mm[0], g.mm[1]) }
}

fn count(n: usize) -> String {
    if n == 1 { "is 1".to_owned() } else { format!("are {n}") }
}

/// Whether no point stands off the line through the first and the one farthest from it by more than a thousandth of
/// that distance: such a set says nothing across the line.
fn on_one_line(points: &[Graduation]) -> bool {
    const FLAT: f64 = 1e-3;
    let Some((first, rest)) = points.split_first() else { return true };
    let from_first = |g: &Graduation| [g.mm[0] - first.mm[0], g.mm[1] - first.mm[1]];
    let longest = rest.iter().map(from_first).max_by(|a, b| a[0].hypot(a[1]).total_cmp(&b[0].hypot(b[1])));
    let Some([dx, dy]) = longest else { return true };
    let square = dx * dx + dy * dy;
    rest.iter().map(from_first).all(|[x, y]| (dx * y - dy * x).abs() <= FLAT * square)
}
