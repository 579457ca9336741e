//! How an experiment is marked: points by part.

use rust_decimal::Decimal;

use super::marks::Part;
use crate::language::{Message, message, number};
use crate::measure::{plain, to_decimals};

/// The marking of an experiment. A part that is not there gives no points and asks for none.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Marking {
    /// How near the truth.
    pub accuracy: Option<Scored>,
    /// How well the trials agree.
    pub agreement: Option<AgreementPart>,
    /// Points for readings written as the glassware allows.
    pub recording: Option<Decimal>,
    /// The student's own answer.
    pub calculation: Option<CalculationPart>,
    /// Points an assistant gives.
    pub by_hand: Option<Decimal>,
    /// What late work loses.
    pub late: Option<Late>,
    /// Whether accuracy is that of the result with the molarity assigned to a titrant carried over, where that is nearer: an
    /// error of the standardisation is charged once, where it was made.
    pub forgive_carried_error: bool,
}

/// Points on a scale of percent: the smaller the better.
#[derive(Clone, Debug, PartialEq)]
pub struct Scored {
    pub points: Decimal,
    pub scale: Scale,
}

/// How points fall as a percentage grows.
#[derive(Clone, Debug, PartialEq)]
pub enum Scale {
    /// Full up to the first, straight down to 0 at the second, both percent.
    Ramp {
        /// Full points up to here.
        full_within: Decimal,
        /// No points from here.
        zero_from: Decimal,
    },
    /// (limit in percent, points), limits rising; a value exactly on a limit takes that limit's points.
    Steps(Vec<(Decimal, Decimal)>),
}

/// Agreement of the counted trials.
#[derive(Clone, Debug, PartialEq)]
pub struct AgreementPart {
    pub scored: Scored,
    pub measure: AgreementMeasure,
}

/// What agreement is measured by, both in percent of the mean.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum AgreementMeasure {
    /// Largest less smallest result.
    #[default]
    Range,
    RelativeS,
}

/// The student's own answer against the recomputation of their own readings.
#[derive(Clone, Debug, PartialEq)]
pub struct CalculationPart {
    pub points: Decimal,
    /// Full points within so many percent, or for the recomputed value rounded to the answer's own last place.
    pub within: Decimal,
    /// Share taken for an answer that agrees but is written with two or more figures too few, 0 to 1.
    pub figures: Decimal,
    /// Share given where a single recognised slip explains the answer, 0 to 1.
    pub single_slip_share: Decimal,
}

/// What late work loses.
#[derive(Clone, Debug, PartialEq)]
pub struct Late {
    /// Hours after the due time that cost nothing.
    pub grace_hours: Decimal,
    /// Share of the points lost per started day after that, 0 to 1.
    pub share_per_day: Decimal,
    /// Share of the points that is kept however late, 0 to 1.
    pub floor: Decimal,
}

/// Something wrong with a marking: the key within `marking`, what was found, what was expected.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("`marking.{key}`: {what}")]
pub struct MarkingFault {
    pub key: String,
    /// What was found and what was expected.
    pub what: String,
}

impl Marking {
    /// How near an answer has to be to the recomputation, percent; half a percent where answers carry no points.
    pub fn within(&self) -> Decimal {
        self.calculation
            .as_ref()
            .map_or(Decimal::new(5, 1), |part| part.within)
    }

    /// Checks points, limits and shares.
    pub fn check(&self) -> Result<(), Vec<MarkingFault>> {
        let mut faults = Vec::new();
        let mut fault = |key: &str, what: String| {
            faults.push(MarkingFault {
                key: key.to_owned(),
                what,
            })
        };
        let scored = [
            ("accuracy", self.accuracy.as_ref()),
            ("agreement", self.agreement.as_ref().map(|a| &a.scored)),
        ];
        for (key, scored) in scored {
            if let Some(scored) = scored {
                scored.check(key, &mut fault);
            }
        }
        for (key, points) in [
            ("recording.points", self.recording),
            (
                "calculation.points",
                self.calculation.as_ref().map(|c| c.points),
            ),
            ("by_hand.points", self.by_hand),
        ] {
            if let Some(points) =
                points.filter(|p| !within(*p, Decimal::ZERO, Decimal::ONE_THOUSAND))
            {
                fault(key, format!("found {points}, expected 0 to 1000"));
            }
        }
        if let Some(calculation) = &self.calculation {
            if calculation.within < Decimal::ZERO {
                fault(
                    "calculation.within",
                    format!("found {}, expected 0 or more percent", calculation.within),
                );
            }
            for (key, given) in [
                (
                    "calculation.single_slip_share",
                    calculation.single_slip_share,
                ),
                ("calculation.figures", calculation.figures),
            ] {
                share(key, given, &mut fault);
            }
        }
        if let Some(late) = &self.late {
            if !within(late.grace_hours, Decimal::ZERO, Decimal::from(10_000)) {
                fault(
                    "late.grace_hours",
                    format!("found {}, expected 0 to 10000", late.grace_hours),
                );
            }
            share("late.share_per_day", late.share_per_day, &mut fault);
            share("late.floor", late.floor, &mut fault);
        }
        if faults.is_empty() {
            Ok(())
        } else {
            Err(faults)
        }
    }

    /// The most points there are, late work aside.
    pub fn possible(&self) -> Decimal {
        [
            self.accuracy.as_ref().map(|s| s.points),
            self.agreement.as_ref().map(|a| a.scored.points),
            self.recording,
            self.calculation.as_ref().map(|c| c.points),
            self.by_hand,
        ]
        .into_iter()
        .flatten()
        .fold(Decimal::ZERO, Decimal::saturating_add)
    }
}

impl Marking {
    /// What full points of a part need, in words; none where its sentence says all.
    pub fn full_points_need(&self, part: Part) -> Option<Message> {
        let scored = match part {
            Part::Accuracy => self.accuracy.as_ref()?,
            Part::Agreement => &self.agreement.as_ref()?.scored,
            Part::Recording | Part::Calculation | Part::ByHand => return None,
        };
        let limit = plain(scored.full_within()?);
        Some(message!("mark.full", limit = number(limit)))
    }
}

impl Scored {
    /// Percent up to which there are full points.
    pub fn full_within(&self) -> Option<Decimal> {
        match &self.scale {
            Scale::Ramp { full_within, .. } => Some(*full_within),
            Scale::Steps(steps) => {
                let full = steps
                    .iter()
                    .rev()
                    .find(|(_, points)| *points >= self.points);
                full.map(|(limit, _)| *limit)
            }
        }
    }

    /// Points for a percentage, not rounded.
    pub fn points_at(&self, percent: Decimal) -> Decimal {
        // a quotient that does not end is a unit of the 28th figure off: a value on a limit has to stay on it
        let percent = to_decimals(percent, NOISE);
        match &self.scale {
            Scale::Ramp {
                full_within,
                zero_from,
            } => {
                if percent <= *full_within {
                    return self.points;
                }
                if percent >= *zero_from {
                    return Decimal::ZERO;
                }
                let left = zero_from
                    .checked_sub(percent)
                    .and_then(|l| l.checked_mul(self.points));
                let width = zero_from.checked_sub(*full_within);
                left.zip(width)
                    .and_then(|(left, width)| left.checked_div(width))
                    .unwrap_or(Decimal::ZERO)
            }
            Scale::Steps(steps) => steps
                .iter()
                .find(|(limit, _)| percent <= *limit)
                .map_or(Decimal::ZERO, |(_, points)| *points),
        }
    }

    fn check(&self, key: &str, fault: &mut impl FnMut(&str, String)) {
        if !within(self.points, Decimal::ZERO, Decimal::ONE_THOUSAND) {
            fault(
                &format!("{key}.points"),
                format!("found {}, expected 0 to 1000", self.points),
            );
        }
        match &self.scale {
            Scale::Ramp {
                full_within,
                zero_from,
            } => {
                if *full_within < Decimal::ZERO || zero_from <= full_within {
                    let found =
                        format!("found full_within {full_within} and zero_from {zero_from}");
                    fault(
                        &format!("{key}.ramp"),
                        format!("{found}, expected 0 or more and a larger number"),
                    );
                }
            }
            Scale::Steps(steps) => {
                if steps.is_empty() {
                    fault(
                        &format!("{key}.steps"),
                        "found none, expected at least one [limit, points]".into(),
                    );
                }
                for pair in steps.windows(2) {
                    if pair[1].0 <= pair[0].0 || pair[1].1 > pair[0].1 {
                        let found = format!(
                            "found [{}, {}] after [{}, {}]",
                            pair[1].0, pair[1].1, pair[0].0, pair[0].1
                        );
                        fault(
                            &format!("{key}.steps"),
                            format!("{found}, expected rising limits and falling points"),
                        );
                    }
                }
                for (limit, points) in steps {
                    if *limit < Decimal::ZERO || !within(*points, Decimal::ZERO, self.points) {
                        let expected = format!(
                            "expected a limit of 0 or more and 0 to {} points",
                            self.points
                        );
                        fault(
                            &format!("{key}.steps"),
                            format!("found [{limit}, {points}], {expected}"),
                        );
                    }
                }
            }
        }
    }
}

/// Decimals beyond which a percentage holds nothing but the rounding of its quotients.
const NOISE: u32 = 15;

fn within(number: Decimal, low: Decimal, high: Decimal) -> bool {
    (low..=high).contains(&number)
}

fn share(key: &str, found: Decimal, fault: &mut impl FnMut(&str, String)) {
    if !within(found, Decimal::ZERO, Decimal::ONE) {
        fault(key, format!("found {found}, expected a share from 0 to 1"));
    }
}
