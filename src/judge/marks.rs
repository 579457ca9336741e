//! Points by part, each with the sentence that explains it.

use std::fmt;

use jiff::Timestamp;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use super::agreement::Agreement;
use super::marking::{AgreementMeasure, CalculationPart, Late, Marking, Scored};
use super::questions::written_otherwise;
use super::slips::Explanation;
use crate::columns::Column;
use crate::language::{Message, message, number};
use crate::measure::{from_f64, plain, to_decimals, to_figures};
use crate::procedure::Procedure;
use crate::stats::Replicates;
use crate::submission::HandIn;
use crate::text::exact;

/// The marks of one submission.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Marks {
    /// One per part of the marking, in the order of the files.
    #[serde(deserialize_with = "exact")]
    pub parts: Vec<PartMark>,
    /// Points lost for lateness, two decimals, not negative.
    pub late: Decimal,
    /// Why; empty if none are lost.
    pub late_sentence: Message,
    /// Points an assistant added or took off.
    pub adjustment: Decimal,
    /// What counts: parts less late plus adjustment, between 0 and possible.
    pub total: Decimal,
    /// Most points there are.
    pub possible: Decimal,
}

/// Points of one part.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PartMark {
    pub part: Part,
    pub points: Decimal,
    pub possible: Decimal,
    /// Why, in one sentence. Depends on the truth for accuracy.
    pub sentence: Message,
}

/// The parts of marking.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Part {
    /// How near the truth.
    Accuracy,
    /// How well the trials agree.
    Agreement,
    /// Readings written as the glassware allows.
    Recording,
    /// The student's own answer.
    Calculation,
    /// Given by an assistant.
    ByHand,
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.words().fmt(f)
    }
}

impl Part {
    pub const ALL: [Self; 5] = [
        Self::Accuracy,
        Self::Agreement,
        Self::Recording,
        Self::Calculation,
        Self::ByHand,
    ];

    /// What people call it.
    pub fn words(self) -> Message {
        match self {
            Self::Accuracy => message!("part.accuracy"),
            Self::Agreement => message!("part.agreement"),
            Self::Recording => message!("part.recording"),
            Self::Calculation => message!("part.calculation"),
            Self::ByHand => message!("part.by-hand"),
        }
    }
}

/// What marks are computed from.
pub(super) struct Marked<'a> {
    pub procedure: &'a Procedure,
    pub hand_in: &'a HandIn,
    pub counted: usize,
    pub spread: Option<&'a Replicates>,
    pub relative_error_percent: Option<Decimal>,
    /// The same with the molarity assigned to a titrant carried over: where that counts, or is told.
    pub error_as_assigned: Option<Decimal>,
    pub submitted_at: Option<Timestamp>,
    pub due: Option<Timestamp>,
    pub by_hand: Option<Decimal>,
    pub adjustment: Decimal,
    pub late_excused: bool,
    /// The student's own answer beside the recomputation.
    pub answer: Option<Agreement>,
    /// What explains an answer that does not follow from its readings.
    pub slips: &'a Explanation,
}

impl Marks {
    /// The points of one part, if the marking has it.
    pub fn part(&self, part: Part) -> Option<&PartMark> {
        self.parts.iter().find(|mark| mark.part == part)
    }
}

pub(super) fn marks(given: &Marked) -> Marks {
    let marking = &given.procedure.marking;
    let parts: Vec<PartMark> = [
        marking
            .accuracy
            .as_ref()
            .map(|scored| accuracy(given, scored)),
        marking
            .agreement
            .as_ref()
            .map(|part| agreement(given, &part.scored, part.measure)),
        marking.recording.map(|possible| recording(given, possible)),
        marking
            .calculation
            .as_ref()
            .map(|part| calculation(given, part)),
        marking.by_hand.map(|possible| by_hand(given, possible)),
    ]
    .into_iter()
    .flatten()
    .collect();
    let sum = parts
        .iter()
        .fold(Decimal::ZERO, |sum, part| sum.saturating_add(part.points));
    let (late, late_sentence) = late(given, marking, sum);
    let possible = to_decimals(marking.possible(), 2);
    let total = sum.saturating_sub(late).saturating_add(given.adjustment);
    let most = possible.max(Decimal::ZERO);
    Marks {
        parts,
        late,
        late_sentence,
        adjustment: to_decimals(given.adjustment, 2),
        total: to_decimals(total.clamp(Decimal::ZERO, most), 2),
        possible,
    }
}

/// Started days after the grace time; 0 if in time or if either time is not known.
pub(super) fn days_late(
    submitted: Option<Timestamp>,
    due: Option<Timestamp>,
    grace_hours: Decimal,
) -> i64 {
    let (Some(submitted), Some(due)) = (submitted, due) else {
        return 0;
    };
    let late = Decimal::from(submitted.as_millisecond())
        .saturating_sub(Decimal::from(due.as_millisecond()));
    let past_grace = late.saturating_sub(grace_hours.saturating_mul(Decimal::from(3_600_000)));
    if past_grace <= Decimal::ZERO {
        return 0;
    }
    let days = past_grace
        .checked_div(Decimal::from(86_400_000))
        .unwrap_or(Decimal::ZERO)
        .ceil();
    i64::try_from(days).unwrap_or(i64::MAX)
}

fn part(part: Part, points: Decimal, possible: Decimal, sentence: Message) -> PartMark {
    PartMark {
        part,
        points: to_decimals(points, 2),
        possible: to_decimals(possible, 2),
        sentence,
    }
}

/// Accuracy and agreement are scaled by counted / minimum where fewer trials count than asked for.
fn scaled(given: &Marked, points: Decimal, sentence: Message) -> (Decimal, Message) {
    let minimum = given.procedure.trials.minimum;
    if given.counted >= minimum as usize {
        return (points, sentence);
    }
    let scaled = points
        .saturating_mul(Decimal::from(given.counted))
        .checked_div(Decimal::from(minimum));
    let trials = message!("count.trial", n = minimum);
    let sentence = message!(
        "mark.scaled",
        sentence = sentence,
        counted = given.counted,
        trials = trials
    );
    (scaled.unwrap_or(Decimal::ZERO), sentence)
}

fn accuracy(given: &Marked, scored: &Scored) -> PartMark {
    let none = |why: Message| part(Part::Accuracy, Decimal::ZERO, scored.points, why);
    if given.counted == 0 {
        return none(message!("mark.none-counted"));
    }
    let Some(error) = given.relative_error_percent else {
        return none(message!("mark.no-bottle"));
    };
    let percent = |error: Decimal| number(plain(to_figures(error.abs(), 2)));
    let forgiven = given.procedure.marking.forgive_carried_error;
    let other = given.error_as_assigned;
    let other = other.filter(|other| !forgiven || other.abs() < error.abs());
    let counts = other.filter(|_| forgiven).unwrap_or(error);
    let sentence = message!("mark.off", error = percent(error));
    let sentence = match (other, forgiven) {
        (None, _) => sentence,
        (Some(other), true) => {
            message!("mark.off-forgiven", off = sentence, other = percent(other))
        }
        (Some(other), false) => {
            message!("mark.off-carried", off = sentence, other = percent(other))
        }
    };
    let (points, sentence) = scaled(given, scored.points_at(counts.abs()), sentence);
    part(Part::Accuracy, points, scored.points, sentence)
}

fn agreement(given: &Marked, scored: &Scored, measure: AgreementMeasure) -> PartMark {
    let none = |why: Message| part(Part::Agreement, Decimal::ZERO, scored.points, why);
    let Some(spread) = given.spread else {
        return none(message!("mark.none-counted"));
    };
    let (percent, words) = match measure {
        AgreementMeasure::Range => (spread.range_percent(), message!("mark.within")),
        AgreementMeasure::RelativeS if spread.n == 1 => {
            (Some(Decimal::ZERO), message!("mark.relative-s"))
        }
        AgreementMeasure::RelativeS => {
            let s = spread.relative_s_percent().and_then(|s| from_f64(s, 15));
            (s, message!("mark.relative-s"))
        }
    };
    let Some(percent) = percent else {
        return none(message!("mark.mean-zero"));
    };
    let sentence = match spread.n {
        1 => message!("mark.one-alone"),
        n => {
            let percent = number(plain(to_figures(percent, 2)));
            words.with("n", n).with("percent", percent)
        }
    };
    let (points, sentence) = scaled(given, scored.points_at(percent), sentence);
    part(Part::Agreement, points, scored.points, sentence)
}

fn recording(given: &Marked, possible: Decimal) -> PartMark {
    let (mut all, mut wrong) = (0_usize, 0_usize);
    for (_, titration) in given.hand_in.numbered() {
        let columns = Column::of(given.procedure, titration.fillings());
        all = all.saturating_add(
            columns
                .iter()
                .filter(|c| c.get(titration).is_some())
                .count(),
        );
        wrong = wrong.saturating_add(written_otherwise(given.procedure, titration).count());
    }
    let right = all.saturating_sub(wrong);
    let share = possible
        .saturating_mul(Decimal::from(right))
        .checked_div(Decimal::from(all));
    let sentence = match (all, wrong) {
        (0, _) => message!("mark.no-readings"),
        (_, 0) => message!("mark.all-written", all = all),
        _ => message!("mark.some-written", right = right, all = all),
    };
    part(
        Part::Recording,
        share.unwrap_or(Decimal::ZERO),
        possible,
        sentence,
    )
}

fn calculation(given: &Marked, rule: &CalculationPart) -> PartMark {
    let unit = given.procedure.result.unit.name();
    let mark =
        |points: Decimal, sentence: Message| part(Part::Calculation, points, rule.points, sentence);
    let Some(answer) = &given.hand_in.reported else {
        return mark(Decimal::ZERO, message!("mark.no-answer"));
    };
    let Some(spread) = given.spread else {
        return mark(Decimal::ZERO, message!("mark.nothing-to-compare"));
    };
    let told = |sentence: Message| {
        let result = number(plain(to_figures(spread.mean, 5)));
        let sentence = sentence.with("answer", number(answer)).with("unit", unit);
        sentence.with("result", result)
    };
    if let Some(agreement) = given.answer.filter(|agreement| agreement.agrees) {
        let with_titrant = agreement.with_answered_titrant;
        let Some((written, expected)) = agreement.too_few else {
            let sentence = match with_titrant {
                true => message!("mark.follows-titrant"),
                false => message!("mark.follows"),
            };
            return mark(rule.points, told(sentence));
        };
        let left = Decimal::ONE.saturating_sub(rule.figures);
        let sentence = match with_titrant {
            true => message!("mark.few-figures-titrant"),
            false => message!("mark.few-figures"),
        };
        let written = message!("count.figure", n = written);
        let sentence = told(sentence)
            .with("written", written)
            .with("expected", expected);
        mark(rule.points.saturating_mul(left), sentence)
    } else if given.slips.is_recognised() {
        let points = rule.points.saturating_mul(rule.single_slip_share);
        let sentence = told(message!("mark.does-not-follow"));
        let sentence = match (given.slips.likely(), given.slips.candidates.first()) {
            (Some(slip), _) => {
                message!(
                    "mark.one-slip",
                    sentence = sentence,
                    advice = slip.code.advice()
                )
            }
            (None, Some(first)) => {
                message!(
                    "mark.few-slips",
                    sentence = sentence,
                    advice = first.code.advice()
                )
            }
            (None, None) => message!("mark.some-slip", sentence = sentence),
        };
        mark(points, sentence)
    } else {
        mark(Decimal::ZERO, told(message!("mark.does-not-follow")))
    }
}

fn by_hand(given: &Marked, possible: Decimal) -> PartMark {
    let sentence = match given.by_hand {
        Some(points) => message!("mark.by-hand", n = number(plain(points))),
        None => message!("mark.not-yet"),
    };
    part(
        Part::ByHand,
        given.by_hand.unwrap_or(Decimal::ZERO),
        possible,
        sentence,
    )
}

fn late(given: &Marked, marking: &Marking, sum: Decimal) -> (Decimal, Message) {
    let nothing = || (to_decimals(Decimal::ZERO, 2), Message::default());
    let Some(Late {
        grace_hours,
        share_per_day,
        floor,
    }) = &marking.late
    else {
        return nothing();
    };
    let days = days_late(given.submitted_at, given.due, *grace_hours);
    if days == 0 {
        return nothing();
    }
    if given.late_excused {
        return (to_decimals(Decimal::ZERO, 2), message!("mark.late-excused"));
    }
    let most = Decimal::ONE.saturating_sub(*floor);
    let share = share_per_day.saturating_mul(Decimal::from(days)).min(most);
    let lost = to_decimals(sum.saturating_mul(share), 2);
    let percent = plain(share.saturating_mul(Decimal::ONE_HUNDRED));
    let sentence = message!("mark.late", n = days, percent = number(percent));
    (lost, sentence)
}
