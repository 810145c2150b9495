//! From located points to measured values: linear propagation with its budget, and Monte Carlo.

use crate::advice::Sensitivity;
use crate::located::Located;
use crate::measure::{Dual, Formula, Measurement};
use crate::placed::{Outcome, Placed, Used};
use crate::scene::params::{LENS, TILT_X, TILT_Y, UNKNOWNS, View3};
use crate::scene::plane::{PLANE, Plane, back_project};
use crate::scene::{Covariance, Scene, State, variance};
use crate::uncertainty::{
    Agreement, Budget, NormalVector, Source, Summary, coverage_factor, draw_blocks, effective_dof,
};
use nalgebra::{Const, DMatrix, DVector, Point2, SVector, U1, Vector2};
use rand::RngExt;
use rand_distr::StandardNormal;
use rand_xoshiro::Xoshiro256PlusPlus;

/// A measured value with its uncertainty.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct Value {
    /// What was measured.
    pub measurement: &'static Measurement,
    /// Best estimate, in the measurement's unit.
    pub value: f64,
    /// Standard uncertainty.
    pub u: f64,
    /// Coverage factor.
    pub k: f64,
    /// Effective degrees of freedom, where a component was estimated from repeats.
    pub dof: Option<f64>,
    /// The 95 % interval.
    pub interval: [f64; 2],
    /// Variance shares by source.
    pub budget: Budget,
    /// Its sensitivities to what it may share with values of other photos.
    pub shared: Shared,
    /// How it answers to a change of how the photo is taken or marked.
    pub sensitivity: Sensitivity,
    /// What the formula made use of.
    pub used: Used,
    /// The Monte Carlo distribution, where asked for.
    pub monte_carlo: Option<Summary>,
    /// Whether the Monte Carlo distribution has replaced the linear result, which misses it.
    pub linear_fails: bool,
}

/// Sensitivities of a value to the errors that photos taken with one lens, with one scale, or of one foot on one day have in common:
/// in the value's unit, per standard uncertainty of each.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shared {
    /// To the independent components of the lens as it was known before, see [`SharedResponse`](crate::scene::SharedResponse).
    pub lens: SVector<f64, LENS>,
    /// To the stretch of the scale's graduations.
    pub scale: f64,
    /// To where the planes lie: the ruler is held once for the photos that are taken of a foot.
    pub plane: f64,
    /// To the foot itself, its landmarks as the person reads their definitions, its edges, its gauge reading; clicks, which are made anew in
    /// every photo, are no part of it.
    pub foot: f64,
}

impl Shared {
    /// Covariance of two values of one measurement on two photos, JCGM 100:2008, 5.2.2: the sum over the independent errors that
    /// they share of the products of their sensitivities.
    ///
    /// `one_stand` says that both show one foot from one side as it stood there once: planes and foot are the same then. Their parts
    /// count as fully correlated, which can only make a mean of the two less certain. All else (graduations, tilts, clicks) is made anew
    /// for each photo and counts as independent.
    pub fn covariance(&self, other: &Self, one_lens: bool, one_scale: bool, one_stand: bool) -> f64 {
        let lens = if one_lens { self.lens.dot(&other.lens) } else { 0.0 };
        let scale = if one_scale { self.scale * other.scale } else { 0.0 };
        let stand = if one_stand { self.plane * other.plane + self.foot * other.foot } else { 0.0 };
        lens + scale + stand
    }
}

impl Value {
    /// Expanded uncertainty U = k u.
    pub fn expanded(&self) -> f64 {
        self.k * self.u
    }

    /// How the value was made, as the results name it.
    pub fn method(&self) -> &'static str {
        if self.used.gauge {
            "gauge"
        } else if self.used.lines().any(|l| l.info().closed) {
            "outline"
        } else if self.used.fit {
            "line_fit"
        } else if self.used.lines().next().is_some() && self.used.landmarks().next().is_none() {
            "line_points"
        } else {
            "two_points"
        }
    }
}

/// What [`Value::method`] can say, and what it means.
pub const METHODS: [(&str, &str); 5] = [
    ("line_fit", "angles of lines fitted to at least three points"),
    ("two_points", "landmarks alone"),
    ("line_points", "single points of lines, none of them fitted"),
    ("outline", "closed outlines"),
    ("gauge", "a gauge reading"),
];

/// The sources of [`Scene::parts`], in their order.
const SCENE_SOURCES: [Source; 4] = [Source::Graduations, Source::ScaleTolerance, Source::Lens, Source::CameraTilt];

/// Sensitivities of one formula: to every point's place and to the gauge.
pub(crate) struct Gradient {
    pub(crate) value: f64,
    used: Used,
    pub(crate) points: Vec<(usize, Vector2<f64>)>,
    pub(crate) gauge: f64,
}

/// A function of a photo's points that can be evaluated with its uncertainty: a measurement's formula, or one that brings along
/// numbers of its own, such as how much is trimmed.
pub trait Function: Sync {
    /// On plain numbers.
    ///
    /// # Errors
    /// Where it has no value on this photo.
    fn value(&self, p: &Placed<'_, f64>) -> Outcome<f64>;
    /// On dual numbers.
    ///
    /// # Errors
    /// Where it has no value on this photo.
    fn dual(&self, p: &Placed<'_, Dual>) -> Outcome<Dual>;
    /// The variance that its own numbers bring, in the square of the formula's unit; the points carry no sensitivities here.
    ///
    /// # Errors
    /// Where it has no value on this photo.
    fn own_variance(&self, _: &Placed<'_, Dual>) -> Outcome<f64> {
        Ok(0.0)
    }
}

impl Function for Formula {
    fn value(&self, p: &Placed<'_, f64>) -> Outcome<f64> {
        (self.value)(p)
    }

    fn dual(&self, p: &Placed<'_, Dual>) -> Outcome<Dual> {
        (self.dual)(p)
    }
}

/// Evaluates one measurement with its uncertainty: to first order with all correlations kept (JCGM 100:2008, 5.1.2 and 5.2.2),
/// to second order in the tilts.
pub fn evaluate(measurement: &'static Measurement, located: &Located, scene: &Scene) -> Outcome<Value> {
    evaluate_function(measurement, &measurement.formula, located, scene)
}

/// The same with another function in the formula's stead; `measurement` names the value and gives its unit.
///
/// # Errors
/// Where the function has no value on this photo.
pub fn evaluate_function(
    measurement: &'static Measurement,
    function: &dyn Function,
    located: &Located,
    scene: &Scene,
) -> Outcome<Value> {
    let gradient = differentiate(function, located)?;
    let by_scene: SVector<f64, UNKNOWNS> =
        gradient.points.iter().map(|(i, g)| located.points[*i].by_scene.transpose() * g).sum();
    let mut variances: Vec<(Source, f64)> =
        SCENE_SOURCES.into_iter().zip(&scene.parts).map(|(source, part)| (source, variance(&by_scene, part))).collect();
    for (slot, plane) in located.planes.iter().enumerate() {
        let by_plane: SVector<f64, PLANE> = gradient
            .points
            .iter()
            .map(|(i, g)| {
                let p = &located.points[*i];
                let own = if p.plane == slot { p.by_own.transpose() * g } else { SVector::zeros() };
                if slot == 0 { p.by_measured.transpose() * g + own } else { own }
            })
            .sum();
        let v = (0..PLANE).map(|k| (by_plane[k] * plane.u[k]).powi(2)).sum();
        variances.push((Source::MeasuredPlane, v));
    }
    // The foot's part: what its landmarks, edges and gauge reading are is the same in the next photo of it.
    let (mut repeated, mut foot) = (0.0, 0.0);
    for (i, g) in &gradient.points {
        let p = &located.points[*i];
        let click = (p.by_pixel.transpose() * g).norm_squared() * p.u_px * p.u_px;
        if p.repeated {
            repeated += click;
        }
        let anatomy = if p.on_edge { 0.0 } else { (p.anatomy * g).dot(g) };
        foot += anatomy;
        variances.push((Source::Landmarks, click + anatomy));
    }
    for edge in &located.edges {
        // A formula that makes use of a line asks for all of it, in order.
        let along: Vec<_> = gradient.points.iter().filter(|(i, _)| edge.points.contains(i)).map(|(_, g)| *g).collect();
        let v = edge.variance(&along);
        foot += v;
        variances.push((Source::Landmarks, v));
    }
    if let Some((_, u)) = located.gauge {
        let v = (gradient.gauge * u).powi(2);
        foot += v;
        variances.push((Source::Gauge, v));
    }
    let own = function.own_variance(&Placed::new(
        &located.index,
        &constant_places(located),
        located.gauge.map(|g| Dual::from_re(g.0)),
    ))?;
    variances.push((Source::Intervention, own));
    let bent = located.second_order.as_ref().and_then(|s| s.deviation(function, located, gradient.value));
    if let Some(bent) = bent {
        variances.push((Source::MeasuredPlane, bent.plane));
        // The scene's part goes to whatever makes its tilts uncertain.
        let trace = |c: &Covariance| c[(TILT_X, TILT_X)] + c[(TILT_Y, TILT_Y)];
        let total = trace(&scene.covariance);
        variances.extend(SCENE_SOURCES.into_iter().zip(&scene.parts).map(|(s, c)| (s, bent.scene * trace(c) / total)));
    }
    if let Some(v) = second_pose_variance(function, located, scene, gradient.value) {
        variances.push((Source::PoseAmbiguity, v));
    }
    let plane: f64 = variances.iter().filter(|(s, _)| *s == Source::MeasuredPlane).map(|(_, v)| v).sum();
    let u2: f64 = variances.iter().map(|(_, v)| v).sum();
    let u = u2.sqrt();
    let dof = effective_dof(u, [(repeated.sqrt(), located.repeat_dof)]);
    let k = coverage_factor(dof);
    let factor = measurement.quantity.factor();
    let (value, u) = (gradient.value * factor, u * factor);
    Ok(Value {
        measurement,
        value,
        u,
        k,
        dof,
        interval: [value - k * u, value + k * u],
        budget: Budget::from_variances(variances.into_iter().filter(|(_, v)| *v > 0.0)),
        shared: Shared {
            lens: scene.response.lens.transpose() * by_scene * factor,
            scale: scene.response.stretch.dot(&by_scene) * factor,
            plane: plane.max(0.0).sqrt() * factor,
            foot: foot.sqrt() * factor,
        },
        sensitivity: Sensitivity::of(u2, &gradient.points, &by_scene, located, factor),
        used: gradient.used,
        monte_carlo: None,
        linear_fails: false,
    })
}

/// The second pose as a further unknown: with probability p the value is off by the difference Δ, a variance of p Δ²; at least
/// Δ²/4, so that the interval (k = 2) reaches the second value.
fn second_pose_variance(function: &dyn Function, located: &Located, scene: &Scene, value: f64) -> Option<f64> {
    let places = located.second.as_ref()?;
    let (_, probability) = scene.second?;
    let placed = Placed::new(&located.index, places, located.gauge.map(|g| g.0));
    let other = function.value(&placed).ok()?;
    Some((other - value).powi(2) * probability.max(0.25))
}

/// Value and sensitivities of a formula, worked out only for the points that it makes use of.
pub(crate) fn differentiate(function: &dyn Function, located: &Located) -> Outcome<Gradient> {
    let placed = located.placed();
    let value = function.value(&placed)?;
    let used = placed.used();
    let mut wanted: Vec<usize> = used.landmarks().filter_map(|l| located.index.landmark(l)).collect();
    for line in used.lines() {
        wanted.extend(located.index.line(line).unwrap_or_default());
    }
    let mut points: Vec<(usize, Vector2<f64>)> = wanted.iter().map(|&i| (i, Vector2::zeros())).collect();
    let mut gauge = 0.0;
    let mut dual = constant_places(located);
    for chunk in points.chunks_mut(Formula::SEEDS / 2) {
        for (k, (i, _)) in chunk.iter().enumerate() {
            dual[*i].x = dual[*i].x.derivative(2 * k);
            dual[*i].y = dual[*i].y.derivative(2 * k + 1);
        }
        let out = function.dual(&Placed::new(&located.index, &dual, located.gauge.map(|g| Dual::from_re(g.0))))?;
        let eps = out.eps.unwrap_generic(Const::<{ Formula::SEEDS }>, U1);
        for (k, (i, g)) in chunk.iter_mut().enumerate() {
            *g = Vector2::new(eps[2 * k], eps[2 * k + 1]);
            let p = located.places[*i];
            dual[*i] = Point2::new(Dual::from_re(p.x), Dual::from_re(p.y));
        }
    }
    if used.gauge {
        let read = located.gauge.map(|g| Dual::from_re(g.0).derivative(0));
        let out = function.dual(&Placed::new(&located.index, &dual, read))?;
        gauge = out.eps.unwrap_generic(Const::<{ Formula::SEEDS }>, U1)[0];
    }
    Ok(Gradient { value, used, points, gauge })
}

/// The places as dual numbers without sensitivities.
fn constant_places(located: &Located) -> Vec<Point2<Dual>> {
    located.places.iter().map(|p| Point2::new(Dual::from_re(p.x), Dual::from_re(p.y))).collect()
}

/// Draws the joint distribution of all values (JCGM 101:2008) and attaches each value's summary to it.
///
/// The same seed gives the same result for any number of threads. A value that the linear result misses by more than JCGM 101's
/// clause 8 allows gets its standard uncertainty and shortest 95 % interval from the draws.
///
/// # Errors
/// `Usage` where the scene's covariance is not one.
pub fn monte_carlo(
    values: &mut [Value],
    located: &Located,
    scene: &Scene,
    draws: usize,
    seed: u64,
) -> crate::error::Result<()> {
    let formulas: Vec<_> =
        values.iter().map(|v| (v.measurement.formula.value, v.measurement.quantity.factor())).collect();
    let columns = sample(located, scene, draws, seed, values.len(), &|placed, _, out| {
        for (o, (formula, factor)) in out.iter_mut().zip(&formulas) {
            if let Ok(v) = formula(placed) {
                *o = v * factor;
            }
        }
    })?;
    for (value, samples) in values.iter_mut().zip(columns) {
        let Some(summary) = Summary::at_95(samples) else { continue };
        if summary.check_linear(value.value, value.u, value.dof).agreement == Agreement::Fails {
            value.u = summary.u;
            value.interval = summary.shortest;
            value.k = (summary.shortest[1] - summary.shortest[0]) / 2.0 / summary.u;
            value.linear_fails = true;
        }
        value.monte_carlo = Some(summary);
    }
    Ok(())
}

/// What a draw's points become in the columns of its row.
type Each<'a> = dyn Fn(&Placed<'_, f64>, &mut Xoshiro256PlusPlus, &mut [f64]) + Sync + 'a;

/// Draws a photo's points and gives, for each draw, what `each` makes of them in `columns` numbers; what it leaves alone counts as
/// undefined.
///
/// # Errors
/// `Usage` where the scene's covariance is not one.
pub(crate) fn sample(
    located: &Located,
    scene: &Scene,
    draws: usize,
    seed: u64,
    columns: usize,
    each: &Each<'_>,
) -> crate::error::Result<Vec<Vec<f64>>> {
    let joint = Joint::new(located, scene)?;
    Ok(draw_blocks(
        draws,
        columns,
        seed,
        || joint.workspace(),
        |space, rng, _, out| {
            if let Some(gauge) = joint.draw(space, rng) {
                each(&Placed::new(&located.index, &space.places, gauge), rng, out);
            }
        },
    ))
}

/// The joint distribution of everything a photo's values depend on.
struct Joint<'a> {
    located: &'a Located,
    scene: &'a Scene,
    state: NormalVector,
    /// Cholesky factors of each point's anatomical covariance.
    anatomy: Vec<[f64; 3]>,
    /// Probability of the second pose and its state minus the first.
    second: Option<(f64, State)>,
}

/// One thread's room to work in.
struct Workspace {
    state: [f64; UNKNOWNS],
    places: Vec<Point2<f64>>,
}

impl<'a> Joint<'a> {
    fn new(located: &'a Located, scene: &'a Scene) -> crate::error::Result<Self> {
        let mean = DVector::from_column_slice(scene.state.as_slice());
        let cov = DMatrix::from_column_slice(UNKNOWNS, UNKNOWNS, scene.covariance.as_slice());
        let anatomy = located
            .points
            .iter()
            .map(|p| {
                let c = if p.on_edge { nalgebra::Matrix2::zeros() } else { p.anatomy };
                let a = c[(0, 0)].sqrt();
                let b = if a > 0.0 { c[(1, 0)] / a } else { 0.0 };
                [a, b, (c[(1, 1)] - b * b).max(0.0).sqrt()]
            })
            .collect();
        Ok(Self {
            located,
            scene,
            state: NormalVector::new(mean, &cov)?,
            anatomy,
            second: scene.second.map(|(state, p)| (p, state - scene.state)),
        })
    }

    fn workspace(&self) -> Workspace {
        Workspace { state: [0.0; UNKNOWNS], places: self.located.places.clone() }
    }

    /// Draws once: fills the places and gives the gauge reading. `None` where a point cannot be brought to its plane.
    fn draw(&self, space: &mut Workspace, rng: &mut Xoshiro256PlusPlus) -> Option<Option<f64>> {
        let normal = |rng: &mut Xoshiro256PlusPlus| -> f64 { rng.sample(StandardNormal) };
        self.state.draw(rng, &mut space.state);
        if let Some((p, shift)) = &self.second
            && rng.random::<f64>() < *p
        {
            for (x, d) in space.state.iter_mut().zip(shift.iter()) {
                *x += d;
            }
        }
        let view = View3::<f64>::new(&space.state, self.scene.pivot);
        let mut planes = [None; crate::PlaneName::ALL.len()];
        let mut of_measured = self.located.planes[0].mean;
        let off = State::from(space.state) - self.scene.state;
        for (slot, p) in planes.iter_mut().zip(&self.located.planes) {
            let mean = p.mean_at(&off);
            let own = std::array::from_fn(|k| mean[k] + p.u[k] * normal(rng));
            // The first is the measured plane itself.
            let drawn = p.with(own, &of_measured, &self.located.planes[0].mean);
            if p.name == crate::PlaneName::Measured {
                of_measured = drawn;
            }
            *slot = Some(Plane::new(&drawn));
        }
        let measured = planes[0].as_ref()?;
        let mut whole = true;
        for ((p, chol), place) in self.located.points.iter().zip(&self.anatomy).zip(&mut space.places) {
            let pixel = p.pixel + Vector2::new(normal(rng), normal(rng)) * p.u_px;
            let (a, b) = (normal(rng), normal(rng));
            let near = view.camera.undistort_near(pixel, p.direction);
            let own = planes[p.plane].as_ref()?;
            match near.and_then(|near| back_project(&view, own, Some(measured), pixel, near)) {
                Some(q) => *place = q + Vector2::new(chol[0] * a, chol[1] * a + chol[2] * b),
                None => whole = false,
            }
        }
        for edge in &self.located.edges {
            edge.draw(&mut space.places, || normal(rng));
        }
        let gauge = self.located.gauge.map(|(v, u)| v + u * normal(rng));
        whole.then_some(gauge)
    }
}
