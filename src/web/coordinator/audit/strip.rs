//! A strip of results around zero: where each dot, the mean and the axis stand, in percent of the width, so that a
//! picture is as wide as there is room and its dots and letters keep their size.

use super::words::{decimals, signed};
use crate::judge::AuditGroup;
use crate::stats::student_t_two_sided;

/// The axis that all strips of an experiment share: from −`reach` to `reach` percent.
#[derive(Clone, Copy, Debug)]
pub struct Axis {
    reach: f64,
}

/// A tick: its place, which way its words run from it, and the words.
pub struct Tick {
    /// Percent of the width.
    pub x: String,
    /// `start`, `middle` or `end`.
    pub anchor: &'static str,
    pub words: String,
}

/// The strip of one group.
pub struct Strip {
    /// What it shows, for who does not see it.
    pub words: String,
    /// Results within reach, as a path of points: x in thousandths of the width, y in pixels.
    pub dots: String,
    /// Results beyond the left end.
    pub left: usize,
    /// Results beyond the right end.
    pub right: usize,
    pub mean: String,
    /// Its 95 % interval.
    pub interval: [String; 2],
    /// The group's own part, where other groups take some of it.
    pub own: Option<String>,
    /// Whether it looks off.
    pub off: bool,
}

/// Height of a strip in pixels, as in the templates.
const MIDDLE: u32 = 22;

impl Axis {
    /// Wide enough for every group and for nearly every result.
    pub fn of(groups: &[AuditGroup], errors: &[f64]) -> Self {
        const REACHES: [f64; 11] = [0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 5.0, 7.0, 10.0, 15.0, 20.0];
        let mut sizes: Vec<f64> = errors.iter().map(|error| error.abs()).collect();
        sizes.sort_by(f64::total_cmp);
        // one result in fifty may lie beyond
        let beyond = sizes.len() / 50;
        let nearly_all = sizes.iter().rev().nth(beyond).copied().unwrap_or_default();
        let means = groups.iter().map(|g| 1.1 * g.own.percent.abs());
        let most = means.fold(1.05 * nearly_all, f64::max);
        let reach = REACHES.into_iter().find(|reach| *reach >= most);
        Self {
            reach: reach.unwrap_or(50.0),
        }
    }

    pub fn ticks(self) -> Vec<Tick> {
        let tick = |(at, anchor): (f64, &'static str)| Tick {
            x: self.x(at * self.reach),
            anchor,
            words: if at == 0.0 {
                "0".to_owned()
            } else {
                let digits = decimals(at.abs() * self.reach, 2);
                let digits = digits.trim_end_matches('0').trim_end_matches('.');
                format!("{}{digits}", if at < 0.0 { "\u{2212}" } else { "+" })
            },
        };
        [
            (-1.0, "start"),
            (-0.5, "middle"),
            (0.0, "middle"),
            (0.5, "middle"),
            (1.0, "end"),
        ]
        .map(tick)
        .into()
    }

    /// The strip of a group, from the errors of all results.
    pub fn strip(self, group: &AuditGroup, errors: &[f64]) -> Strip {
        let mut own: Vec<f64> = group.members.iter().map(|at| errors[*at]).collect();
        own.sort_by(f64::total_cmp);
        let freedom = (group.n() as f64 - 1.0).max(1.0);
        let half = student_t_two_sided(0.95, freedom) * group.bias_uncertainty_percent;
        let mean = group.bias_percent;
        let moved = (group.own.percent - mean).abs() > 0.05;
        let ends = [own.first(), own.last()].map(|end| end.copied().unwrap_or_default());
        Strip {
            words: format!(
                "{} results from {} to {} %, robust mean {} %, 95 % interval {} to {} %: {}",
                group.n(),
                signed(ends[0]).trim(),
                signed(ends[1]).trim(),
                signed(mean).trim(),
                signed(mean - half).trim(),
                signed(mean + half).trim(),
                group.verdict.words(),
            ),
            dots: path(&self.dots(&own)),
            left: own.iter().filter(|e| **e < -self.reach).count(),
            right: own.iter().filter(|e| **e > self.reach).count(),
            mean: self.x(mean),
            interval: [self.x(mean - half), self.x(mean + half)],
            own: moved.then(|| self.x(group.own.percent)),
            off: group.verdict.is_off(),
        }
    }

    /// Dots in order; those that would lie on one another are spread up and down.
    fn dots(self, sorted: &[f64]) -> Vec<(f64, u32)> {
        const OFFSETS: [i32; 5] = [0, 7, -7, 14, -14];
        // of many results no more than can be told apart
        let most = if sorted.len() > 100 { 3 } else { usize::MAX };
        let near = self.reach / 50.0;
        let (mut dots, mut last, mut pile) = (Vec::new(), f64::NEG_INFINITY, 0_usize);
        for error in sorted.iter().filter(|error| error.abs() <= self.reach) {
            if error - last < near {
                pile = pile.saturating_add(1);
            } else {
                (pile, last) = (0, *error);
            }
            if pile >= most {
                continue;
            }
            let offset = OFFSETS[pile % OFFSETS.len()];
            dots.push((self.share(*error), MIDDLE.saturating_add_signed(offset)));
        }
        dots
    }

    /// A place in percent of the width, within the picture.
    fn x(self, percent: f64) -> String {
        format!("{}%", decimals(self.share(percent), 2))
    }

    fn share(self, percent: f64) -> f64 {
        (50.0 + 48.0 * percent / self.reach).clamp(0.5, 99.5)
    }
}

/// Lines without length: with round ends each is a dot, in a quarter of the letters that a circle takes.
fn path(dots: &[(f64, u32)]) -> String {
    let dots = dots.iter();
    dots.map(|(share, y)| format!("M{} {y}h0", decimals(10.0 * share, 0)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::{Axis, path};

    #[test]
    fn places_are_shares_of_the_width_and_dots_do_not_hide_one_another() {
        let axis = Axis { reach: 2.0 };
        assert_eq!(axis.x(0.0), "50.00%");
        assert_eq!(axis.x(-2.0), "2.00%");
        assert_eq!(axis.x(9.0), "99.50%");
        let dots = axis.dots(&[-3.0, 0.5, 0.51, 0.52, 1.0]);
        assert_eq!(path(&dots), "M620 22h0M622 29h0M625 15h0M740 22h0");
        let ticks: Vec<String> = axis.ticks().into_iter().map(|tick| tick.words).collect();
        assert_eq!(ticks, ["\u{2212}2", "\u{2212}1", "0", "+1", "+2"]);
    }
}
