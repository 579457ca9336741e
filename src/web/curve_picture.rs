//! Pictures of titration curves: points, the slope between them, and where the equivalence is.

use crate::language::{Language, Message, message, number as digits};
use crate::measure::{as_f64, from_f64, plain, to_figures};
use crate::procedure::Procedure;
use crate::schemes::{CurvePoints, HALF_PH, Scheme};
use crate::submission::{HandIn, Titration};
use crate::workup::{Of, Role, WorkUp, budget};

/// Places across are in percent of the width, those down in px.
pub struct CurvePicture {
    pub title: String,
    pub points: Vec<(String, String)>,
    /// Corners of the curve and of its slope, in thousandths of the field.
    pub curve: String,
    pub slope: String,
    /// Where the equivalence is, and how it is written.
    pub equivalence: Option<(String, String)>,
    /// What stands at the corners of the field: signal at the bottom and top, volume left and right.
    pub marks: [String; 4],
    /// What the curve shows, what the slope is at most, and the pH at half.
    pub told: Vec<String>,
    /// All of it, for who does not see it.
    pub words: String,
}

/// Left edge and width of the field, percent, and its top and height, px; as in the template.
const FIELD: [f64; 4] = [12.0, 85.0, 10.0, 200.0];

/// One picture for each numbered trial with a curve; none where the procedure reads none.
pub fn curves(
    procedure: &Procedure,
    hand_in: &HandIn,
    work_up: &WorkUp,
    language: Language,
) -> Vec<CurvePicture> {
    let Scheme::Curve(scheme) = &procedure.scheme else {
        return Vec::new();
    };
    let unit = scheme.curve.meter.kind().unit();
    let signal = scheme.curve.signal;
    let named = Message::new(format!("picture.signal.{}", signal.name()));
    let named = match unit {
        "" => named,
        unit => message!("picture.signal-in", signal = named, unit = unit),
    };
    let one = |(number, row): (u32, &Titration)| {
        let read = CurvePoints::of(signal, row);
        picture((number, &named), &read, (work_up, language))
    };
    hand_in.numbered().filter_map(one).collect()
}

fn picture(
    (number, named): (u32, &Message),
    read: &CurvePoints,
    (work_up, language): (&WorkUp, Language),
) -> Option<CurvePicture> {
    let of = Of::Trial(number);
    let points: Vec<(f64, f64)> = read.points.iter().map(|point| point.xy()).collect();
    let slopes: Vec<(f64, f64)> = points
        .windows(2)
        .filter(|pair| pair[1].0 > pair[0].0)
        .map(|pair| {
            let ((x, y), (next_x, next_y)) = (pair[0], pair[1]);
            (f64::midpoint(x, next_x), (next_y - y) / (next_x - x))
        })
        .collect();
    let across = Scale::of(points.iter().map(|p| p.0))?;
    let up = Scale::of(points.iter().map(|p| p.1))?;
    let steep = Scale::of(slopes.iter().map(|p| p.1))?;
    let corners = |points: &[(f64, f64)], up: &Scale| {
        let corner = |(x, y): &(f64, f64)| {
            let (x, y) = (across.share(*x), 1.0 - up.share(*y));
            format!("{:.1},{:.1}", 1000.0 * x, 1000.0 * y)
        };
        points.iter().map(corner).collect::<Vec<_>>().join(" ")
    };
    let percent = |x: f64| format!("{:.2}", FIELD[0] + FIELD[1] * across.share(x));
    let down = |y: f64| format!("{:.1}", FIELD[2] + FIELD[3] * (1.0 - up.share(y)));
    let graph = &work_up.graph;
    let value = |role: Role| graph.find(role, of).map(|id| (id, graph.value(id)));
    let equivalence = value(Role::Equivalence);
    let written = |x: f64| from_f64(x, 3).map(plain).unwrap_or_default();
    let steepest = slopes
        .iter()
        .map(|p| p.1)
        .max_by(|a, b| a.abs().total_cmp(&b.abs()))?;
    let mut told = vec![
        message!("picture.points-line", signal = named),
        message!("picture.slope", slope = digits(written(steepest))),
    ];
    if let Some((id, value)) = equivalence {
        let u = budget(graph, id, None).standard;
        let value = digits(with_u(value, u, " mL"));
        told.push(message!("picture.equivalence", value = value));
    }
    if let Some((id, value)) = value(Role::Own(HALF_PH)) {
        let u = budget(graph, id, None).standard;
        let value = digits(with_u(value, u, ""));
        told.push(message!("picture.half-pH", value = value));
    }
    let title = message!("picture.curve", n = number);
    let outcome = work_up
        .trials
        .iter()
        .find(|t| t.trial.number() == Some(number));
    if let Some(why) = outcome.and_then(|t| t.why_not.clone()) {
        told.push(message!("picture.not-counted", why = why));
    }
    let told: Vec<String> = told.iter().map(|words| language.say(words)).collect();
    Some(CurvePicture {
        words: language.say(&message!(
            "picture.curve-words",
            title = &title,
            n = points.len(),
            told = told.join("; "),
        )),
        title: language.say(&title),
        points: points
            .iter()
            .map(|(x, y)| (percent(*x), down(*y)))
            .collect(),
        curve: corners(&points, &up),
        slope: corners(&slopes, &steep),
        equivalence: equivalence.map(|(_, value)| {
            (
                percent(as_f64(value)),
                format!("{} mL", plain(to_figures(value, 4))),
            )
        }),
        marks: [up.least, up.most, across.least, across.most].map(written),
        told,
    })
}

/// A value to the place of two figures of its standard uncertainty.
fn with_u(value: rust_decimal::Decimal, u: f64, unit: &str) -> String {
    let Some(u) = from_f64(u, 2) else {
        return format!("{}{unit}", plain(value));
    };
    let value = crate::measure::to_decimals(value, u.scale());
    format!("{value}{unit} (u = {}{unit})", plain(u))
}

struct Scale {
    least: f64,
    most: f64,
}

impl Scale {
    /// None where all are one.
    fn of(values: impl Iterator<Item = f64> + Clone) -> Option<Self> {
        let least = values.clone().fold(f64::INFINITY, f64::min);
        let most = values.fold(f64::NEG_INFINITY, f64::max);
        (most > least).then_some(Self { least, most })
    }

    fn share(&self, value: f64) -> f64 {
        ((value - self.least) / (self.most - self.least)).clamp(0.0, 1.0)
    }
}
