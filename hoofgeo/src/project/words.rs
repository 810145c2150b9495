//! A projection in plain words.

use super::{CAUTIONS, Heels, Plan, VisitProjection};
use crate::evaluate::Value;
use crate::review::foot_words;
use crate::uncertainty::print;
use std::fmt::Write as _;

impl Plan {
    /// What is done, in plain words.
    pub fn words(&self) -> String {
        let mut parts = Vec::new();
        match self.heels {
            Heels::Left => {}
            Heels::ToSolePlane => parts.push("heels brought to the hard sole plane".to_owned()),
            Heels::Lowered(mm) => parts.push(format!("heels lowered by {mm} mm")),
        }
        if self.toe_back_mm > 0.0 {
            parts.push(format!("toe dressed back by {} mm", self.toe_back_mm));
        }
        if self.toe_lowered_mm > 0.0 {
            parts.push(format!("toe lowered by {} mm", self.toe_lowered_mm));
        }
        if let Some(g) = &self.growth {
            parts.push(format!(
                "{} weeks of growth, {:.1} mm a month at the toe and {:.1} mm at the heel, each ± {:.1} mm",
                g.weeks,
                g.toe_mm_per_month,
                g.heel_mm_per_month,
                2.0 * g.u_mm_per_month
            ));
        }
        if parts.is_empty() { "nothing done".to_owned() } else { parts.join("; ") }
    }
}

/// Below this, in the value's unit, an expanded uncertainty is that of arithmetic: the value is as planned, and none is printed.
const AS_PLANNED: f64 = 0.005;

/// A projected value as text: the number, and what comes after it.
pub(crate) fn printed(v: &Value) -> [String; 2] {
    let unit = v.measurement.quantity.unit();
    if v.expanded() < AS_PLANNED {
        // Rounded first, so that there is no negative zero.
        let value = (10.0 * v.value).round() / 10.0 + 0.0;
        return [format!("{value:.1}"), print(0.0, 0.0, unit).unit];
    }
    let p = print(v.value, v.expanded(), unit);
    let own = if p.unit == "°" { "°" } else { "" };
    [format!("{}{own}", p.value), format!(" ± {}{}", p.expanded.unwrap_or_default(), p.unit)]
}

fn cell(v: &Value) -> String {
    printed(v).concat()
}

impl VisitProjection {
    /// One table per foot.
    pub fn text(&self) -> String {
        let mut out = String::new();
        // Writing to a String cannot fail.
        let _ = writeln!(out, "Projected: {}\n", self.plan.words());
        for foot in &self.feet {
            let stage = foot.stage.map(|s| s.name().replace('_', " "));
            let parts: Vec<&str> =
                [Some(foot.animal.as_str()), Some(foot_words(foot.foot)), stage.as_deref(), foot.day.as_deref()]
                    .into_iter()
                    .flatten()
                    .filter(|p| !p.is_empty())
                    .collect();
            let _ = writeln!(out, "{:<30}{:>20}{:>20}{:>20}", parts.join(", "), "now", "then", "change");
            let area = foot.area.iter().map(|(_, a)| (&a.before, &a.after, &a.change));
            let rows = foot.projection.quantities.iter().map(|p| (&p.before, &p.after, &p.change)).chain(area);
            for (before, after, change) in rows {
                let name = before.measurement.name;
                // How far a point moves is a change already.
                let moves = name.ends_with("moves back");
                let (now, then) = if moves { (String::new(), String::new()) } else { (cell(before), cell(after)) };
                let _ = writeln!(out, "  {name:<28}{now:>20}{then:>20}{:>20}", cell(change));
            }
            out.push('\n');
        }
        out += "± is at 95 %; it holds what was measured and how much growth is known, not how well the trim is carried out.\n";
        for caution in CAUTIONS {
            out += caution;
            out.push('\n');
        }
        out
    }
}
