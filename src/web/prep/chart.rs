//! The control chart of a lot: places in percent of the width and in pixels of the height, so that letters and dots keep
//! their size however wide the page is.

use jiff::civil::{Date, DateTime};

use crate::measure::{as_f64, from_f64, to_decimals};
use crate::term::SectionFinding;
use crate::truth::Assigned;

pub struct Chart {
    /// What it shows, for who does not see it.
    pub words: String,
    /// The band of the assigned value ± 2 u: top and height.
    pub band: [String; 2],
    /// Values assigned over the term: from when to when, and how high.
    pub assigned: Vec<Line>,
    pub dots: Vec<Dot>,
    /// Marks up the side, in a picture of their own.
    pub sides: Vec<Mark>,
    /// How wide that is, in letters.
    pub side_width: usize,
    pub below: Vec<Mark>,
}

/// A value as long as it was assigned.
pub struct Line {
    pub from: String,
    pub to: String,
    pub y: String,
}

/// A section's mean with its interval.
pub struct Dot {
    pub x: String,
    pub y: String,
    /// Ends of its interval, ± 2 u.
    pub ends: [String; 2],
    /// Whether that interval and the band have nothing in common.
    pub off: bool,
}

/// A mark of an axis.
pub struct Mark {
    pub at: String,
    pub words: String,
}

/// A value and from when on it was assigned.
pub struct Version {
    pub from: DateTime,
    pub value: Assigned,
}

/// Top and bottom of the field, pixels; as in the template.
const FIELD: (f64, f64) = (12.0, 228.0);
/// Left and right of the field, percent.
const ACROSS: (f64, f64) = (0.0, 99.0);

struct Scale {
    least: f64,
    most: f64,
    first: f64,
    last: f64,
}

impl Scale {
    fn y(&self, value: f64) -> f64 {
        let share = (value - self.least) / (self.most - self.least);
        FIELD.1 - (FIELD.1 - FIELD.0) * share.clamp(0.0, 1.0)
    }

    fn x(&self, at: DateTime) -> String {
        let share = (hours(at) - self.first) / (self.last - self.first);
        percent(ACROSS.0 + (ACROSS.1 - ACROSS.0) * share.clamp(0.0, 1.0))
    }
}

impl Chart {
    /// The chart of a lot; none where no section has found anything.
    pub fn of(code: &str, versions: &[Version], findings: &[SectionFinding]) -> Option<Self> {
        let now = versions.last()?.value;
        let (value, u) = (as_f64(now.value), as_f64(now.standard_uncertainty));
        let (first, last) = (findings.first()?, findings.last()?);
        let mut reach = 3.0 * u;
        for finding in findings {
            let own = as_f64(finding.molarity.value) - value;
            let spread = 2.0 * as_f64(finding.molarity.standard_uncertainty);
            reach = reach.max(own.abs() + spread);
        }
        for version in versions {
            reach = reach.max((as_f64(version.value.value) - value).abs());
        }
        let reach = if reach > 0.0 {
            1.08 * reach
        } else {
            value / 100.0
        };
        // half a day free on both sides, so that a single day has a middle
        let scale = Scale {
            least: value - reach,
            most: value + reach,
            first: hours(first.at) - 12.0,
            last: hours(last.at) + 12.0,
        };
        let dots: Vec<Dot> = findings.iter().map(|f| dot(&scale, f, value, u)).collect();
        let off = dots.iter().filter(|dot| dot.off).count();
        let decimals = 1 - crate::measure::order_of_magnitude(from_f64(reach, 2)?);
        let decimals = u32::try_from(decimals.clamp(0, 12)).ok()?;
        let written = |value: f64| {
            let value = from_f64(value, 12).map(|v| to_decimals(v, decimals).to_string());
            value.unwrap_or_default()
        };
        let sides = [-1.0, -0.5, 0.0, 0.5, 1.0].map(|share| {
            let at = value + share * reach / 1.08;
            Mark {
                at: pixels(scale.y(at)),
                words: written(at),
            }
        });
        let top = scale.y(value + 2.0 * u);
        let height = scale.y(value - 2.0 * u) - top;
        let until = versions.iter().skip(1).map(|v| Some(v.from)).chain([None]);
        let end = percent(ACROSS.1);
        let assigned = versions.iter().zip(until).filter_map(|(version, until)| {
            let (from, to) = (
                scale.x(version.from),
                until.map_or(end.clone(), |at| scale.x(at)),
            );
            (from != to).then(|| Line {
                y: pixels(scale.y(as_f64(version.value.value))),
                from,
                to,
            })
        });
        Some(Self {
            words: format!(
                "Lot {code} over the term: {} {} from {} to {}; {}.",
                findings.len(),
                if findings.len() == 1 {
                    "section mean"
                } else {
                    "section means"
                },
                super::pages::day(Some(first.at.date())),
                super::pages::day(Some(last.at.date())),
                match off {
                    0 => "all agree with the assigned value".to_owned(),
                    1 => "1 does not agree with the assigned value".to_owned(),
                    n => format!("{n} do not agree with the assigned value"),
                }
            ),
            band: [pixels(top), pixels(height.max(1.0))],
            assigned: assigned.collect(),
            dots,
            side_width: sides.iter().map(|s| s.words.len()).max().unwrap_or(0),
            sides: sides.into(),
            below: below(&scale, first.at.date(), last.at.date()),
        })
    }
}

/// Whether a finding and the assigned value have nothing in common: their intervals ± 2 u lie apart.
pub fn is_off(finding: &SectionFinding, value: f64, u: f64) -> bool {
    let own = as_f64(finding.molarity.value) - value;
    own.abs() > 2.0 * as_f64(finding.molarity.standard_uncertainty) + 2.0 * u
}

fn dot(scale: &Scale, finding: &SectionFinding, value: f64, u: f64) -> Dot {
    let own = as_f64(finding.molarity.value);
    let spread = 2.0 * as_f64(finding.molarity.standard_uncertainty);
    Dot {
        x: scale.x(finding.at),
        y: pixels(scale.y(own)),
        ends: [own + spread, own - spread].map(|end| pixels(scale.y(end))),
        off: is_off(finding, value, u),
    }
}

/// The first and the last day, and one between them where there is room.
fn below(scale: &Scale, first: Date, last: Date) -> Vec<Mark> {
    let days = i64::from((last - first).get_days());
    let middle = first.saturating_add(jiff::SignedDuration::from_hours(24 * (days / 2)));
    let mut shown = vec![first];
    if days > 5 {
        shown.push(middle);
    }
    if days > 0 {
        shown.push(last);
    }
    shown
        .into_iter()
        .map(|day| Mark {
            at: scale.x(day.at(12, 0, 0, 0)),
            words: day.strftime("%-d %b").to_string(),
        })
        .collect()
}

fn hours(at: DateTime) -> f64 {
    let since = at.duration_since(DateTime::constant(2000, 1, 1, 0, 0, 0, 0));
    since.as_secs_f64() / 3600.0
}

fn percent(at: f64) -> String {
    format!("{}%", to_places(at))
}

fn pixels(at: f64) -> String {
    to_places(at)
}

fn to_places(at: f64) -> String {
    let at = from_f64(at, 12).map(|at| to_decimals(at, 2).to_string());
    at.unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use jiff::civil::date;
    use rust_decimal::Decimal;

    use super::{Chart, Version};
    use crate::term::SectionFinding;
    use crate::truth::Assigned;

    fn assigned(value: i64, u: i64) -> Assigned {
        Assigned {
            value: Decimal::new(value, 5),
            standard_uncertainty: Decimal::new(u, 5),
        }
    }

    fn finding(section: &str, day: i8, value: i64) -> SectionFinding {
        SectionFinding {
            experiment: crate::ids::ExperimentKey::new("acid"),
            section: section.into(),
            at: date(2026, 10, day).at(12, 0, 0, 0),
            n: 20,
            molarity: assigned(value, 3),
        }
    }

    #[test]
    fn sections_stand_where_their_days_and_values_are() {
        let versions = [Version {
            from: date(2026, 10, 1).at(9, 0, 0, 0),
            value: assigned(10_000, 10),
        }];
        let findings = [finding("A", 5, 10_010), finding("B", 9, 9_900)];
        let chart = Chart::of("N-1", &versions, &findings).expect("a chart");
        let line = &chart.assigned[0];
        assert_eq!((line.y.as_str(), line.to.as_str()), ("120.00", "99.00%"));
        assert_eq!(chart.dots.len(), 2);
        assert!(!chart.dots[0].off && chart.dots[1].off);
        let y = |at: usize| chart.dots[at].y.parse::<f64>().expect("a place");
        assert!(y(0) < 120.0 && y(1) > 120.0, "higher values stand higher");
        assert_eq!(chart.sides[2].words, "0.1000");
        assert_eq!(
            chart.words,
            "Lot N-1 over the term: 2 section means from 5 Oct 2026 to 9 Oct 2026; 1 does not agree with the \
             assigned value."
        );
        let days: Vec<&str> = chart.below.iter().map(|mark| mark.words.as_str()).collect();
        assert_eq!(days, ["5 Oct", "9 Oct"]);
        assert!(Chart::of("N-1", &versions, &[]).is_none());
    }
}
