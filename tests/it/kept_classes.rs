//! What is kept of classes follows every change: judgements come out as if everything were judged anew.

use std::collections::BTreeMap;

use concordant::changes::{
    Change, Decide, Extend, GivePoints, Group, HandInMade, HandedIn, JoinGroup, LeaveNote,
    LotValue, PointsByHand, Reach, UnknownValue,
};
use concordant::columns::Column;
use concordant::course::{Course, StaffRole, Zone};
use concordant::desk::{Desk, bring_in_term, verify};
use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::ids::{ExperimentKey, SectionName};
use concordant::judge::evaluate;
use concordant::measure::Reading;
use concordant::procedure::{CarriedBy, Dates};
use concordant::schemes::Scheme;
use concordant::simulate::{Plan, PlannedExperiment, invent};
use concordant::store::Store;
use concordant::submission::HandIn;
use concordant::term::{
    BySlot, ClassBook, Decision, Extension, Judged, Note, Revision, Ruling, Side, Slot, Term,
};
use concordant::truth::{Assigned, Sealed};
use jiff::Timestamp;
use jiff::civil::date;
use rand::seq::IndexedRandom;
use rand::{RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;
use rust_decimal::Decimal;

/// Three experiments, so that habits of a term are seen; bench groups, other sections and values change beneath.
#[tokio::test]
async fn a_small_course_is_judged_as_if_anew_after_any_changes() {
    let keys = [
        "well-water-hardness",
        "vinegar-acidity",
        "eggshell-carbonate",
    ];
    for seed in 0..3 {
        Going::of(3, 8, &keys, seed).await.goes_through(40).await;
    }
}

/// What is found in one experiment is the titrant of another, of one's own and of the bench.
#[tokio::test]
async fn titrants_carried_over_are_followed_through_any_changes() {
    let keys = [
        "naoh-against-khp",
        "thiosulfate-against-iodate",
        "vinegar-own-hydroxide",
        "copper-own-thiosulfate",
    ];
    for seed in 0..2 {
        Going::of(2, 7, &keys, seed).await.goes_through(60).await;
    }
}

/// A bottle that the prep room assigned 3 % too much makes nobody's standardisation a bad one.
#[test]
fn nobody_has_standardised_wrongly_for_the_prep_rooms_fault() {
    let keys = ["naoh-against-khp", "vinegar-own-hydroxide"];
    let mut term = term(2, 24, &keys, 11);
    let bottles = term.unknowns.get_mut(keys[0]).expect("bottles");
    let bottle = bottles.values_mut().next().expect("a bottle");
    let truth = *bottle.truth.open();
    bottle.truth = Sealed::new(Assigned {
        value: truth.value * Decimal::new(103, 2),
        ..truth
    });
    let code = bottle.code.clone();
    let with_it = |slot: &Slot| {
        let first = Slot::new(&ExperimentKey::new(keys[0]), &slot.student);
        slot.experiment == keys[1] && term.issued.get(&first) == Some(&code)
    };
    let judged = term.judge_all();
    let judged = judged.iter().filter(|(slot, _)| with_it(slot));
    let carried: Vec<bool> = judged
        .filter_map(|(_, judged)| Some(judged.evaluation.carried.as_ref()?.is_off))
        .collect();
    let off = carried.iter().filter(|off| **off).count();
    assert!(carried.len() >= 10, "{}", carried.len());
    assert!(5 * off <= carried.len(), "{off} of {}", carried.len());
}

/// 300 students with a titrant each, their own or their section's, are judged in about the time of 300 with one lot; were
/// everybody looked up for everybody, it would be many times as much.
#[test]
fn titrants_carried_over_cost_what_a_lot_costs() {
    let seconds = |keys: [&str; 2], by: Option<CarriedBy>| {
        let mut term = term(4, 75, &keys, 5);
        if let (Some(by), Scheme::Direct(direct)) = (by, &mut term.experiments[1].procedure.scheme)
        {
            direct.titrant.carried.as_mut().expect("carried over").by = by;
        }
        let least = (0..2).map(|_| {
            let before = std::time::Instant::now();
            let judged = term.judge_all();
            assert!(judged.len() >= 550, "{}", judged.len());
            before.elapsed().as_secs_f64()
        });
        least.fold(f64::INFINITY, f64::min)
    };
    let by_lot = seconds(["naoh-against-khp", "vinegar-acidity"], None);
    for by in [CarriedBy::Student, CarriedBy::Section] {
        let keys = ["naoh-against-khp", "vinegar-own-hydroxide"];
        let carried = seconds(keys, Some(by));
        println!("{}: {carried:.2} s, by lot {by_lot:.2} s", by.name());
        assert!(carried < 4.0 * by_lot, "{carried} s, by lot {by_lot} s");
    }
}

/// So many that not all are laid beside all others, and that what is likely is told anew only now and then.
#[tokio::test]
async fn a_large_class_is_judged_as_if_anew_after_any_changes() {
    Going::of(6, 14, &["well-water-hardness"], 7)
        .await
        .goes_through(40)
        .await;
}

/// A look at one submission alone never takes the class for nothing: the evidence it was judged beside is kept with it.
#[test]
fn judgements_of_a_whole_term_are_those_of_its_parts() {
    let term = term(2, 10, &["well-water-hardness", "vinegar-acidity"], 3);
    let all: BySlot<Judged> = term.judge_all().into_iter().collect();
    let mut parts = BySlot::new();
    let mut book = ClassBook::default();
    for slot in term.submissions.keys() {
        let reach = [Reach::Student(slot.clone())];
        for (slot, judged) in term.judge_reached(&parts, &mut book, &reach) {
            parts.extend(judged.map(|judged| (slot, judged)));
        }
    }
    assert_eq!(parts, all);
    let slot = term.submissions.keys().next().expect("handed in");
    let alone = term.with_case(slot, evaluate).expect("judged");
    assert_eq!(
        alone.outcome,
        all.get(slot).expect("is there").evaluation.outcome
    );
}

/// A course with hand-ins still to come.
struct Going {
    desk: Desk,
    rng: ChaCha8Rng,
    coming: Vec<(Slot, HandIn)>,
    /// The time goes on with every hand-in.
    at: Timestamp,
}

impl Going {
    async fn of(sections: usize, students: usize, keys: &[&str], seed: u64) -> Self {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        let mut term = term(sections, students, keys, seed);
        let mut coming = Vec::new();
        for (slot, revisions) in &term.submissions.clone() {
            if rng.random_bool(0.4) {
                coming.push((slot.clone(), HandIn::clone(&revisions[0].hand_in)));
                term.submissions.remove(slot);
            }
        }
        let desk = Desk::open(Store::passing().await.expect("a store")).await;
        let desk = desk.expect("a desk");
        let at = "2026-11-20T12:00:00Z".parse().expect("a time");
        let brought = bring_in_term(&desk, &term, "test", at).await;
        brought.expect("imported");
        Self {
            desk,
            rng,
            coming,
            at,
        }
    }

    async fn goes_through(mut self, steps: usize) {
        for step in 0..steps {
            let view = self.desk.view().await.expect("a course");
            let several = self.rng.random_range(1..=3);
            let changes: Vec<Change> = (0..several).map(|_| self.change(&view.term)).collect();
            drop(view);
            let kinds: Vec<&str> = changes.iter().map(Change::kind).collect();
            let kinds = kinds.join(", ");
            let made = self.desk.apply(changes, "test", self.at).await;
            made.expect("made");
            if step % 5 == 4 {
                let view = self.desk.view().await.expect("a course");
                let anew: BTreeMap<Slot, Judged> = view.term.judge_all().into_iter().collect();
                let slots = anew.keys().chain(view.judged.keys());
                for slot in slots {
                    assert_eq!(
                        view.judged.get(slot),
                        anew.get(slot),
                        "{slot} after {kinds}"
                    );
                }
            }
        }
        let (judged, differ) = verify(&self.desk).await.expect("read");
        assert!(judged > 0 && differ.is_empty(), "{:?}", differ.first());
    }

    fn change(&mut self, term: &Term) -> Change {
        self.at += jiff::SignedDuration::from_secs(61);
        let slots: Vec<&Slot> = term.submissions.keys().collect();
        let slot = (*slots.choose(&mut self.rng).expect("handed in")).clone();
        match self.rng.random_range(0..20) {
            0..=6 => match self.coming.pop() {
                Some((slot, hand_in)) => self.handed_in(slot, hand_in),
                None => self.corrected(term, slot),
            },
            7..=10 => self.corrected(term, slot),
            11 => {
                let rulings = [
                    Ruling::LeaveOut { trial: 1 },
                    Ruling::PutBack { trial: 1 },
                    Ruling::Accept,
                    Ruling::TakeBack,
                ];
                let revisions = term.submissions.get(&slot).expect("is there").len();
                let body = Decision {
                    ruling: rulings.choose(&mut self.rng).expect("some").clone(),
                    revision: u32::try_from(revisions).expect("few"),
                    reason: "looked at".into(),
                    by: "m.thorne".into(),
                    at: self.at,
                };
                Decide { slot, body }.into()
            }
            12 => {
                let points = Some(Decimal::from(self.rng.random_range(0..2)));
                let body = PointsByHand { points };
                GivePoints { slot, body }.into()
            }
            13 => {
                let body = Note {
                    from: Side::Student,
                    by: slot.student.to_string(),
                    text: "please look".into(),
                    at: self.at,
                };
                LeaveNote { slot, body }.into()
            }
            14 => {
                let lots: Vec<_> = term.lots.values().collect();
                let Some(lot) = lots.choose(&mut self.rng) else {
                    return self.corrected(term, slot);
                };
                let mut lot = (*lot).clone();
                lot.version += 1;
                lot.molarity = self.moved(lot.molarity);
                let (source, reason) = (None, "again".into());
                LotValue {
                    lot,
                    source,
                    reason,
                }
                .into()
            }
            15 => {
                let bottles: Vec<_> = term.unknowns[&slot.experiment].values().collect();
                let mut unknown = (*bottles.choose(&mut self.rng).expect("a bottle")).clone();
                unknown.version += 1;
                unknown.truth = Sealed::new(self.moved(*unknown.truth.open()));
                let (source, reason) = (None, "again".into());
                UnknownValue {
                    experiment: slot.experiment,
                    unknown,
                    source,
                    reason,
                }
                .into()
            }
            16 => {
                let sections = term.sections();
                let section = sections.choose(&mut self.rng).expect("a section");
                let body = Extension {
                    due: None,
                    section: Some(SectionName::new(*section)),
                    reason: "was ill".into(),
                    by: "m.thorne".into(),
                    at: Some(self.at),
                };
                Extend { slot, body }.into()
            }
            17 => {
                let group = format!("bench {}", self.rng.random_range(0..3));
                let body = Group { group };
                JoinGroup { slot, body }.into()
            }
            18 => {
                let assistants = term.staff.iter().filter(|s| s.role == StaffRole::Assistant);
                let assistants: Vec<_> = assistants.collect();
                let mut member = (*assistants.choose(&mut self.rng).expect("one")).clone();
                let section =
                    SectionName::new(*term.sections().choose(&mut self.rng).expect("one"));
                member.sections = vec![section];
                member.into()
            }
            _ => {
                let mut student = term.students.choose(&mut self.rng).expect("one").clone();
                let section = *term.sections().choose(&mut self.rng).expect("one");
                student.section = SectionName::new(section);
                student.into()
            }
        }
    }

    /// Another end of the burette, or somebody else's readings.
    fn corrected(&mut self, term: &Term, slot: Slot) -> Change {
        let others: Vec<&Slot> = term.submissions.keys().collect();
        let others = others
            .iter()
            .filter(|other| other.experiment == slot.experiment);
        let others: Vec<_> = others.collect();
        let from = if self.rng.random_bool(0.3) {
            (**others.choose(&mut self.rng).expect("some")).clone()
        } else {
            slot.clone()
        };
        let mut hand_in = HandIn::clone(
            &term
                .submissions
                .get(&from)
                .expect("is there")
                .last()
                .expect("one")
                .hand_in,
        );
        if let Some(end) = hand_in
            .titrations
            .last_mut()
            .and_then(|row| row.readings.get_mut(&Column::BuretteEnd(1)))
        {
            let off = Decimal::new(self.rng.random_range(-3..=3), 2);
            *end = Reading::parse(&(end.value() + off).to_string()).expect("a reading");
        }
        self.handed_in(slot, hand_in)
    }

    fn handed_in(&self, slot: Slot, hand_in: HandIn) -> Change {
        let revision = Revision {
            hand_in: hand_in.into(),
            submitted_at: Some(self.at),
            reason: "test".into(),
            receipt: None,
        };
        let body = HandedIn {
            revision,
            key: None,
        };
        HandInMade { slot, body }.into()
    }

    fn moved(&mut self, assigned: Assigned) -> Assigned {
        let by = Decimal::new(self.rng.random_range(970..1_030), 3);
        Assigned {
            value: (assigned.value * by).round_dp(12),
            ..assigned
        }
    }
}

fn term(sections: usize, students: usize, keys: &[&str], seed: u64) -> Term {
    let glassware = shipped_glassware();
    let planned = |(place, key): (usize, &&str)| {
        let text = shipped_procedure(key).expect("shipped");
        let procedure = read_procedure(key, &text, &glassware).expect("sound");
        let week = 5 + 7 * i8::try_from(place).expect("few");
        PlannedExperiment {
            key: ExperimentKey::new(*key),
            procedure: ((*key).to_owned(), text, procedure),
            dates: Dates {
                opens: date(2026, 10, week).at(8, 0, 0, 0),
                due: date(2026, 10, week + 4).at(17, 0, 0, 0),
            },
            prefix: format!("{}{place}", key[..1].to_uppercase()),
            unknowns: 3,
            missing: 0,
            open: false,
            bad_bottle: None,
            copying: Vec::new(),
        }
    };
    let plan = Plan {
        course: Course {
            title: "Kept".into(),
            term: "t".into(),
            zone: Zone::new("Atlantic/Reykjavik").expect("a zone"),
            language: concordant::language::Language::default(),
        },
        sections: (1..=sections)
            .map(|n| SectionName::new(format!("S{n}")))
            .collect(),
        students_per_section: students,
        experiments: keys.iter().enumerate().map(planned).collect(),
        seed,
    };
    let mut term = invent(&plan, glassware).expect("can be carried out");
    term.released.clear();
    term
}
