//! A guide to the landmarks, to print or to read on a phone: made of their declarations, with the drawings that the page shows.

use super::catalogue::{DRAWING, asked, parts, path, spot};
use super::live::title;
use crate::View;
use crate::landmark::{Axis, Landmark, Line, ORDERS, Order, Spread};
use std::fmt::Write;

/// The guide as one HTML page that needs nothing beside it.
///
/// ```
/// let page = hoofgeo::place::landmark_guide();
/// assert!(page.contains("Toe coronet") && page.contains("Easily taken for it"));
/// ```
pub fn landmark_guide() -> String {
    let mut out = String::from(HEAD);
    for view in View::ALL {
        let name = match view {
            View::Lateral => "From the side",
            View::Solar => "From the sole",
        };
        let _ = write!(out, "<h2>{name}</h2>{}", overview(*view));
        out.push_str("<div class=\"cards\">");
        for (n, l) in asked(*view).enumerate() {
            landmark(&mut out, n + 1, l);
        }
        for l in Line::of(*view) {
            line(&mut out, l);
        }
        out.push_str("</div>");
    }
    out.push_str(FOOT);
    out
}

/// A view's drawing with something on it.
fn drawing(view: View, label: &str, on: &str) -> String {
    let [w, h] = DRAWING;
    let lines: String = parts(view).iter().map(|(kind, d)| format!("<path class=\"{kind}\" d=\"{d}\"/>")).collect();
    format!("<svg viewBox=\"0 0 {w} {h}\" role=\"img\" aria-label=\"{label}\">{lines}{on}</svg>")
}

/// All landmarks of a view, numbered as they are asked for.
fn overview(view: View) -> String {
    let marks: String = asked(view)
        .enumerate()
        .map(|(n, l)| {
            let [x, y] = spot(l);
            format!(
                "<circle class=\"spot\" cx=\"{x}\" cy=\"{y}\" r=\"3.4\"/><text x=\"{x}\" y=\"{:.1}\">{}</text>",
                y + 1.5,
                n + 1
            )
        })
        .collect();
    format!("<div class=\"overview\">{}</div>", drawing(view, "Where the landmarks lie, by their numbers", &marks))
}

fn landmark(out: &mut String, number: usize, l: Landmark) {
    let info = l.info();
    let [x, y] = spot(l);
    let on = format!(
        "<circle class=\"halo\" cx=\"{x}\" cy=\"{y}\" r=\"9\"/><circle class=\"spot\" cx=\"{x}\" cy=\"{y}\" r=\"4.5\"/>"
    );
    let name = title(info.name);
    let _ = write!(
        out,
        "<article><h3><span>{number}</span> {name}</h3>{}<p>{}</p><p><b>How to find it.</b> {}</p>\
         <p><b>Easily taken for it.</b> {}</p><p><b>How well people agree.</b> {}</p>{}<p class=\"id\">{}</p></article>",
        drawing(info.view, &format!("Where {name} lies"), &on),
        info.definition,
        info.find,
        mistaken(l),
        agreement(info.spread),
        order(l),
        info.name,
    );
}

fn line(out: &mut String, l: Line) {
    let info = l.info();
    let points: Vec<String> = path(l).iter().map(|[x, y]| format!("{x},{y}")).collect();
    let shape = if info.closed { "polygon" } else { "polyline" };
    let name = title(info.name);
    let _ = write!(
        out,
        "<article><h3>{name} <small>line</small></h3>{}<p>{}</p><p><b>Easily taken for it.</b> {}</p>\
         <p><b>How well it is defined.</b> To {} mm.</p><p class=\"id\">{}</p></article>",
        drawing(
            info.view,
            &format!("How {name} runs"),
            &format!("<{shape} class=\"way\" points=\"{}\"/>", points.join(" "))
        ),
        info.definition,
        wrong_line(l),
        info.u_mm,
        info.name,
    );
}

/// How far placements of trained people scatter on clean, dry hooves: what is counted where no table of one's own is given.
fn agreement(spread: Spread) -> String {
    match spread {
        Spread::Round(u) => format!("{u} mm in every direction."),
        Spread::Oval { along, across, axis } => {
            let axis = match axis {
                Axis::Ground => "the ground",
                Axis::DorsalWall => "the dorsal wall",
                Axis::HeelWall => "the heel wall",
                Axis::Frog => "the frog's axis",
            };
            if along == across {
                return format!("{along} mm in every direction.");
            }
            format!("{along} mm along {axis}, {across} mm square to it.")
        }
    }
}

/// How it stands to others in every foot: what the program holds a placement against.
fn order(l: Landmark) -> String {
    let told: Vec<String> = ORDERS
        .iter()
        .filter(|o| o.first == l)
        .map(|Order { stands, second, .. }| format!("{} “{}”", stands.words(), title(second.name())))
        .collect();
    if told.is_empty() { String::new() } else { format!("<p><b>In every foot</b> it lies {}.</p>", told.join(", ")) }
}

/// What is marked in a landmark's place by mistake (common practice, no source, where no other is named).
const fn mistaken(l: Landmark) -> &'static str {
    match l {
        Landmark::ToeCoronet => {
            "The upper edge of the swollen coronary band, or the end of long hair that hangs over the horn."
        }
        Landmark::ToeGround => {
            "The tip of a long or rolled toe where the wall, drawn on, would meet the ground; the ruler's edge; the toe's shadow."
        }
        Landmark::HeelCoronet => "The hairline over the bulb, farther back and lower; the coronet of the far heel.",
        Landmark::HeelGround => "The bulb, the far heel, or the end of the shadow under the heel.",
        Landmark::GroundFront => "The near edge of the block or of the ruler instead of the ground under the midline.",
        Landmark::GroundBack => "The near edge of the block, a hair of the fetlock, or the ground far behind the foot.",
        Landmark::PasternUpper => "The fetlock's own bulge, or feather that stands off the skin.",
        Landmark::PasternLower => "The coronet itself, or hair that stands off the skin.",
        Landmark::SolePlaneHeel => {
            "Loose, flaking sole, or the bearing edge; without looking at the lifted foot it cannot be known."
        }
        Landmark::Breakover => "The tip of the toe, or a rasp mark higher up the wall.",
        Landmark::HeelBulb => "The bulb of the far side; the pastern's hollow above it.",
        Landmark::HeelBulbFar => "The near bulb's own outline; hair or the tail of the fetlock behind it.",
        Landmark::ToeOuter => "The ground edge of a bevel, or the wall beside the axis where the toe is chipped.",
        Landmark::WhiteLineInner => "The white line's outer edge; dirt in a stretched white line.",
        Landmark::WhiteLineOuter => "The pale, unpigmented inner wall, which is horn and no white line.",
        Landmark::FrogApex => "An overgrown tongue of loose frog, which lies in front of the true apex.",
        Landmark::CentralSulcus => "The shadow in the groove, or the crease that runs on between the bulbs.",
        Landmark::FrogBaseMedial => {
            "The wall of the groove beside the frog; the lateral corner, on a photo held upside down."
        }
        Landmark::FrogBaseLateral => {
            "The wall of the groove beside the frog; the medial corner, on a photo held upside down."
        }
        Landmark::HeelMedial => "The bar's bend, the bulb, or horn at the heel that does not reach the bearing plane.",
        Landmark::HeelLateral => "The bar's bend, the bulb, or horn at the heel that does not reach the bearing plane.",
        Landmark::WidestMedial => "The quarter where flare stands off most, though the foot is wider elsewhere.",
        Landmark::WidestLateral => "The quarter where flare stands off most, though the foot is wider elsewhere.",
        Landmark::BulbMedial => "The end of the frog, or hair behind the bulb.",
        Landmark::BulbLateral => "The end of the frog, or hair behind the bulb.",
        Landmark::BreakoverSolar => "The outer edge of the toe; the white line.",
    }
}

/// What is drawn in a line's place by mistake (common practice, no source).
const fn wrong_line(l: Line) -> &'static str {
    match l {
        Line::DorsalWall => {
            "Hair at the coronet, or the edge of a bulge or dish taken as the whole wall: follow the edge as it is."
        }
        Line::HeelWall => "The far heel's edge; the bulb's outline.",
        Line::Ground => "The near edge of the ruler or of the block; the shadow's edge.",
        Line::TubulesToe => "A rasp mark, a crack or a growth ring.",
        Line::TubulesQuarter => "A rasp mark or a crack; the tubules of the toe, which stand steeper or flatter.",
        Line::TubulesHeel => "The heel's own edge; a crack.",
        Line::RingsToe => "Rasp marks; one ring marked twice, or one left out.",
        Line::RingsHeel => "Another ring than the one that was marked at the toe.",
        Line::OuterWall => "The inner edge of a bevel; the shadow beside the wall.",
        Line::WhiteLine => "Its outer edge, where the wall's pale inner horn begins.",
        Line::FrogOutline => "The bottom of the groove beside the frog; loose flaps of frog.",
    }
}

const HEAD: &str = r#"<!doctype html>
<html lang="en"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>Where the landmarks of a hoof lie</title>
<style>
:root { font: 16px/1.45 system-ui, "Segoe UI", sans-serif; color: #14201d; background: #fbfaf6; color-scheme: light; }
body { max-width: 62rem; margin: 0 auto; padding: 1rem; }
h1, h2, h3, p { margin: 0 0 .5rem; }
h2 { margin-top: 1.6rem; border-top: 4px solid #a84300; padding-top: .4rem; }
h3 span { display: inline-block; min-width: 1.6em; text-align: center; background: #a84300; color: #fff; border-radius: 1em; }
h3 small, .id { color: #43514c; font-weight: 400; }
.id { font-size: .85rem; font-family: ui-monospace, monospace; }
.cards { display: grid; grid-template-columns: repeat(auto-fill, minmax(17rem, 1fr)); gap: 1rem; }
article { background: #fff; border: 1px solid #d5d8d2; border-radius: 4px; padding: .8rem; break-inside: avoid; overflow-wrap: anywhere; }
article p { font-size: .95rem; }
.overview { max-width: 34rem; margin-bottom: 1rem; }
svg { width: 100%; background: #fff; border: 1px solid #d5d8d2; border-radius: 4px; margin-bottom: .5rem; }
path { fill: none; stroke: #14201d; stroke-width: 1.6; stroke-linejoin: round; stroke-linecap: round; }
.horn { fill: #e8dfcb; stroke-width: 2; } .frog { fill: #cfc0a2; } .fine { stroke-width: .8; stroke: #43514c; }
.skin { stroke-dasharray: 4 3; }
.halo { fill: none; stroke: #a84300; stroke-width: 2; } .spot { fill: #a84300; }
.way { fill: none; stroke: #a84300; stroke-width: 3.5; stroke-linejoin: round; stroke-linecap: round; }
text { font-size: 4.4px; fill: #fff; text-anchor: middle; font-weight: 700; }
@media print { :root { font-size: 9pt; background: #fff; } body { max-width: none; padding: 0; }
  .cards { grid-template-columns: 1fr 1fr 1fr; gap: .4rem; } article { padding: .4rem; } article p { font-size: 8pt; line-height: 1.3; margin: 0 0 .2rem; }
  article svg { height: 2.7cm; } h3 { font-size: 10pt; margin: 0 0 .2rem; } .overview { max-width: 9cm; }
  h2 { break-before: page; } h2:first-of-type { break-before: auto; } }
@page { margin: 12mm; }
</style></head><body><main>
<h1>Where the landmarks of a hoof lie</h1>
<p>Each point has one definition here, so that two people mean the same by it. Clean and dry the foot first; brush the sole.
Mark what you see, not what you expect; what cannot be seen is left out. The numbers are the order in which the points are asked for.</p>
<p>How well people agree is said as a standard deviation in mm, of trained people on a clean, dry hoof (estimates, no source):
two of three placements lie nearer than that. <code>hoofgeo observers</code> finds yours.</p>
"#;

const FOOT: &str = "<p><b>A photo does not show the bone, and no number measured from it is a diagnosis.</b> Lame, laminitic or growing animals and \
any corrective trim belong to a vet and a qualified farrier. Never make a sore horse stand or walk for a photo. Local law comes first.</p>\
</main></body></html>\n";

#[cfg(test)]
mod tests {
    use super::*;

    /// Everything that can be marked has its card, and nothing in it is markup by accident.
    #[test]
    fn every_landmark_and_line_has_its_card() {
        let page = landmark_guide();
        for l in Landmark::ALL {
            assert!(page.contains(l.info().definition) && page.contains(mistaken(*l)), "{l}");
        }
        for l in Line::ALL {
            assert!(page.contains(l.info().definition) && page.contains(wrong_line(*l)), "{l}");
        }
        assert_eq!(page.matches("<article>").count(), Landmark::ALL.len() + Line::ALL.len());
        assert!(!page.contains("http://") && !page.contains("https://") && !page.contains("<script"));
    }
}
