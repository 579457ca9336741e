//! Invents a course with a seed: people, lots, unknowns, and hand-ins with the usual slips.
//!
//! The demo course and the courses of load tests are made here. Everything and everybody in them is made up.

pub mod class;
mod copies;
mod people;
pub mod sections;
mod wrong;

use std::collections::BTreeMap;

use jiff::{SignedDuration, Timestamp};
use rand::seq::IndexedRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha20Rng;
use rust_decimal::Decimal;

use crate::course::{Course, Experiment, Student};
use crate::ids::{ExperimentKey, LotCode, SectionName, UnknownCode};
use crate::judge::copying::Copying;
use crate::judge::rehearsal::{Bench, Hand, simulate};
use crate::judge::signal::{Signal, result_at};
use crate::measure::{GlasswareTable, Reading, from_f64, to_decimals, to_figures};
use crate::procedure::{Dates, Procedure, Scheme};
use crate::submission::{HandIn, TrialLabel};
use crate::term::{Decision, ExperimentSource, Revision, Ruling, Slot, Status, Term};
use crate::truth::{Assigned, Bottle, Lot, Sealed, ShelfLife, Unknown};
use crate::workup::{WorkUpInput, work_up};

#[derive(Clone, Debug)]
pub struct Plan {
    pub course: Course,
    /// Names of the sections.
    pub sections: Vec<SectionName>,
    pub students_per_section: usize,
    /// In course order.
    pub experiments: Vec<PlannedExperiment>,
    /// The same seed invents the same course.
    pub seed: u64,
}

/// An experiment to invent hand-ins for.
#[derive(Clone, Debug)]
pub struct PlannedExperiment {
    pub key: ExperimentKey,
    /// The procedure's own key, its text and itself.
    pub procedure: (String, String, Procedure),
    /// When it opens and is due.
    pub dates: Dates,
    /// Codes of unknowns start with this.
    pub prefix: String,
    pub unknowns: usize,
    /// How many students have not handed in.
    pub missing: usize,
    /// It is still open three days before it is due: nobody is late, and nobody hands in after that.
    pub open: bool,
    /// A bottle, by its number from 0, that holds so many percent more than it is assigned.
    pub bad_bottle: Option<(usize, f64)>,
    /// For each of these one student copies, in that way, from one of the section who has the same bottle.
    pub copying: Vec<Copying>,
}

pub fn invent(plan: &Plan, glassware: GlasswareTable) -> Term {
    let mut rng = ChaCha20Rng::seed_from_u64(plan.seed);
    let mut term = Term::new(plan.course.clone(), glassware);
    people::people(plan, &mut term, &mut rng);
    for planned in &plan.experiments {
        Invention {
            planned,
            rng: &mut rng,
            term: &mut term,
        }
        .run();
    }
    settle_first(&mut term);
    term
}

/// The first experiment is over: its assistants have settled what was flagged, and its results are out.
fn settle_first(term: &mut Term) {
    let first = term
        .experiments
        .first()
        .map(|e| (e.key.clone(), e.dates.due));
    let Some((key, due)) = first else { return };
    let Some(due) = term.course.zone.instant(due) else {
        return;
    };
    let days = |n: i64| {
        due.saturating_add(SignedDuration::from_hours(24 * n))
            .unwrap_or(due)
    };
    let waiting: Vec<Slot> = term
        .judge_all()
        .into_iter()
        .filter(|(slot, judged)| slot.experiment == key && judged.status == Status::ToReview)
        .map(|(slot, _)| slot)
        .collect();
    for slot in waiting {
        let section = term.student(&slot.student).map(|s| s.section.clone());
        let assistant = term
            .staff
            .iter()
            .find(|s| section.as_ref().is_some_and(|one| s.sections.contains(one)));
        let by = assistant.map(|s| s.login.clone()).unwrap_or_default();
        let reason = "looked at the notebook: the readings are as written".to_owned();
        let revision = u32::try_from(term.submissions.get(&slot).map_or(0, Vec::len)).unwrap_or(1);
        let decision = Decision {
            ruling: Ruling::Accept,
            revision,
            reason,
            by,
            at: days(5),
        };
        term.decisions.entry(slot).or_default().push(decision);
    }
    term.set_release(&key, None, Some(days(7)));
}

struct Invention<'a> {
    planned: &'a PlannedExperiment,
    rng: &'a mut ChaCha20Rng,
    term: &'a mut Term,
}

/// What one student does besides titrating.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Slip {
    None,
    WholeMillilitre,
    OtherBottle,
    Careless,
    Sloppy,
    TooFewTrials,
    Late,
    Corrected,
    WrongAnswer,
    NoAnswer,
}

impl Invention<'_> {
    fn run(mut self) {
        let (key, text, procedure) = &self.planned.procedure;
        self.term
            .sources
            .procedures
            .insert(key.clone(), text.clone());
        let source = ExperimentSource {
            procedure: key.clone(),
            ..ExperimentSource::default()
        };
        self.term
            .sources
            .experiments
            .insert(self.planned.key.clone(), source);
        self.term.experiments.push(Experiment {
            key: self.planned.key.clone(),
            procedure: procedure.clone(),
            dates: self.planned.dates,
            section_lots: BTreeMap::new(),
            section_dates: BTreeMap::new(),
        });
        let lots = self.lots(procedure);
        let truths = self.unknowns(procedure, &lots);
        let students: Vec<Student> = self.term.students.clone();
        let mut last = usize::MAX;
        for (place, student) in students.iter().enumerate() {
            let mut own = self.rng.random_range(0..truths.len());
            if own == last {
                own = own.saturating_add(1) % truths.len();
            }
            last = own;
            let slot = Slot::new(&self.planned.key, &student.id);
            self.term.issued.insert(slot.clone(), truths[own].0.clone());
            // those who have not handed in are spread over the roster
            let every = students
                .len()
                .checked_div(self.planned.missing)
                .unwrap_or(usize::MAX)
                .max(1);
            let absent = place % every == every / 2 && place / every < self.planned.missing;
            if !absent {
                self.student(procedure, slot, &lots, &truths, own);
            }
        }
        self.copies(procedure, &students);
    }

    /// A titrant lot, and one of the excess reagent, a little off their labels.
    fn lots(&mut self, procedure: &Procedure) -> (Option<Lot>, Option<Lot>) {
        let prefix = &self.planned.prefix;
        let mut make = |suffix: &str, species: &crate::chem::Formula, nominal: Decimal| {
            let off = Decimal::new(self.rng.random_range(-180..180), 4);
            let value = to_figures(nominal.saturating_mul(Decimal::ONE.saturating_add(off)), 5);
            let standard_uncertainty = to_figures(value.saturating_mul(Decimal::new(8, 4)), 2);
            let molarity = Assigned {
                value,
                standard_uncertainty,
            };
            let code = LotCode::new(format!("{prefix}-{suffix}"));
            let lot = Lot {
                code: code.clone(),
                reagent: species.written().to_owned(),
                molarity,
                version: 1,
            };
            self.term
                .shelf
                .insert(Bottle::Lot(code.clone()), made_for(self.planned.dates));
            self.term.lots.insert(code, lot.clone());
            lot
        };
        let titrant = procedure
            .lot_reagent()
            .map(|(species, nominal)| make("T1", species, nominal));
        let excess = procedure
            .excess
            .as_ref()
            .map(|excess| make("X1", &excess.species, excess.nominal));
        (titrant, excess)
    }

    /// Unknowns whose titres lie between 40 and 70 % of the burette.
    fn unknowns(
        &mut self,
        procedure: &Procedure,
        lots: &(Option<Lot>, Option<Lot>),
    ) -> Vec<(UnknownCode, f64)> {
        let bench = Bench {
            truth: 1.0,
            lot: lots.0.as_ref(),
            excess_lot: lots.1.as_ref(),
            blank: BLANK,
        };
        let scale = Signal::of(procedure).full;
        let mut truths = Vec::new();
        for n in 1..=self.planned.unknowns {
            let share = self.rng.random_range(0.40..0.70);
            let truth = if procedure.scheme == Scheme::Standardisation {
                procedure
                    .titrant
                    .as_ref()
                    .map_or(1.0, |t| crate::measure::as_f64(t.nominal))
                    * self.rng.random_range(0.95..1.05)
            } else {
                result_at(procedure, &bench, scale * share).unwrap_or(1.0)
            };
            let value = to_figures(from_f64(truth, 8).unwrap_or(Decimal::ONE), 4);
            let standard_uncertainty = to_figures(value.saturating_mul(Decimal::new(1, 3)), 2);
            let code = UnknownCode::new(format!("{}-{n:02}", self.planned.prefix));
            let truth = Sealed::new(Assigned {
                value,
                standard_uncertainty,
            });
            let of = self
                .term
                .unknowns
                .entry(self.planned.key.clone())
                .or_default();
            of.insert(
                code.clone(),
                Unknown {
                    code: code.clone(),
                    truth,
                    version: 1,
                },
            );
            let off = match self.planned.bad_bottle {
                Some((bad, percent)) if bad + 1 == n => percent,
                _ => 0.0,
            };
            truths.push((code, crate::measure::as_f64(value) * (1.0 + off / 100.0)));
        }
        truths
    }

    fn student(
        &mut self,
        procedure: &Procedure,
        slot: Slot,
        lots: &(Option<Lot>, Option<Lot>),
        truths: &[(UnknownCode, f64)],
        own: usize,
    ) {
        let slip = self.slip();
        let taken = match slip {
            Slip::OtherBottle => own.saturating_add(1) % truths.len(),
            _ => own,
        };
        let bench = Bench {
            truth: truths[taken].1,
            lot: lots.0.as_ref(),
            excess_lot: lots.1.as_ref(),
            blank: BLANK,
        };
        let trials = procedure.trials.minimum;
        let hand = Hand {
            care: if slip == Slip::Careless {
                4.0
            } else {
                self.rng.random_range(0.6..1.1)
            },
            sloppy_decimals: if slip == Slip::Sloppy { 0.5 } else { 0.0 },
            trials: if slip == Slip::TooFewTrials {
                trials.saturating_sub(1).max(1)
            } else {
                trials
            },
            rough: self.rng.random::<f64>() < 0.3,
        };
        let Some(mut hand_in) = simulate(procedure, &bench, &hand, self.rng) else {
            return;
        };
        if slip == Slip::OtherBottle && self.rng.random::<bool>() {
            hand_in
                .titrations
                .iter_mut()
                .for_each(|t| t.unknown = Some(truths[taken].0.clone()));
        }
        hand_in.reported = self.answer(procedure, &hand_in, lots, slip);
        let zone = self.term.course.zone.clone();
        let due = zone
            .instant(self.planned.dates.due)
            .unwrap_or(Timestamp::UNIX_EPOCH);
        let minutes = match slip {
            _ if self.planned.open => -self.rng.random_range(60 * 24 * 3 + 60..60 * 24 * 7),
            Slip::Late => self.rng.random_range(60 * 20..60 * 80),
            _ => -self.rng.random_range(30..60 * 70),
        };
        let at = due
            .saturating_add(SignedDuration::from_mins(minutes))
            .unwrap_or(due);
        let mut revisions = Vec::new();
        if slip == Slip::Corrected {
            let first = with_misread(hand_in.clone());
            revisions.push(revision(
                first,
                at.saturating_sub(SignedDuration::from_mins(25))
                    .unwrap_or(at),
                "",
            ));
        }
        if slip == Slip::WholeMillilitre {
            hand_in = with_misread(hand_in);
        }
        let reason = if revisions.is_empty() {
            ""
        } else {
            "copied the first end reading wrongly from my notebook"
        };
        revisions.push(revision(hand_in, at, reason));
        self.term.submissions.insert(slot.clone(), revisions);
        if let Some(most) = procedure.marking.by_hand {
            let share = Decimal::new(self.rng.random_range(5..=10), 1);
            self.term
                .by_hand
                .insert(slot, to_decimals(most.saturating_mul(share), 1).normalize());
        }
    }

    fn slip(&mut self) -> Slip {
        let usual = [
            (Slip::WholeMillilitre, 0.03),
            (Slip::OtherBottle, 0.02),
            (Slip::Careless, 0.03),
            (Slip::Sloppy, 0.06),
            (Slip::TooFewTrials, 0.03),
            (Slip::Late, 0.05),
            (Slip::Corrected, 0.03),
            (Slip::WrongAnswer, 0.06),
            (Slip::NoAnswer, 0.02),
        ];
        let mut draw = self.rng.random::<f64>();
        for (slip, share) in usual {
            draw -= share;
            if draw < 0.0 {
                return slip;
            }
        }
        Slip::None
    }

    /// The student's own answer to four figures; wrong by a ratio of two or a power of ten if that is the slip.
    fn answer(
        &mut self,
        procedure: &Procedure,
        hand_in: &HandIn,
        lots: &(Option<Lot>, Option<Lot>),
        slip: Slip,
    ) -> Option<Reading> {
        if slip == Slip::NoAnswer {
            return None;
        }
        let lots = vec![(lots.0.as_ref(), lots.1.as_ref()); hand_in.titrations.len()];
        let left_out = std::collections::BTreeSet::new();
        let done = work_up(WorkUpInput {
            procedure,
            hand_in,
            lots: &lots,
            left_out: &left_out,
        });
        let mut value = done.value()?;
        if slip == Slip::WrongAnswer {
            let factors = [
                Decimal::new(5, 1),
                Decimal::TWO,
                Decimal::TEN,
                Decimal::new(104, 2),
            ];
            value = value.saturating_mul(*factors.choose(self.rng)?);
        }
        Reading::parse_answer(&to_figures(value, 4).to_string()).ok()
    }
}

/// What a blank takes, mL.
const BLANK: f64 = 0.12;

fn revision(hand_in: HandIn, at: Timestamp, reason: &str) -> Revision {
    // files keep whole seconds
    let at = Timestamp::from_second(at.as_second()).unwrap_or(at);
    let mut hand_in = hand_in;
    hand_in
        .titrations
        .iter_mut()
        .for_each(|t| t.submitted_at = Some(at));
    Revision {
        hand_in,
        submitted_at: Some(at),
        reason: reason.to_owned(),
        receipt: None,
    }
}

/// The first numbered trial's end read one millilitre too far.
fn with_misread(mut hand_in: HandIn) -> HandIn {
    let numbered = hand_in
        .titrations
        .iter_mut()
        .find(|t| matches!(t.trial, TrialLabel::Numbered(1)));
    if let Some(piece) = numbered.and_then(|t| t.burette.last_mut()) {
        // a reading past the end of the scale would be refused
        let further = piece.end.value().saturating_add(Decimal::ONE);
        let value = if further < Decimal::from(50) {
            further
        } else {
            further.saturating_sub(Decimal::TWO)
        };
        if let Ok(end) = Reading::parse(&value.to_string()) {
            piece.end = end;
        }
    }
    hand_in
}

/// Made some days before the experiment opens, good for some days after it is due.
fn made_for(dates: Dates) -> ShelfLife {
    const DAY: SignedDuration = SignedDuration::from_hours(24);
    let made = dates.opens.date().saturating_sub(DAY.saturating_mul(4));
    let expires = dates.due.date().saturating_add(DAY.saturating_mul(4));
    ShelfLife {
        made: Some(made),
        expires: Some(expires),
    }
}
