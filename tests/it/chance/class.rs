//! A simulated class: a procedure, its lots and bottles, students of ordinary care.

use std::collections::BTreeMap;

use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::ids::{LotCode, UnknownCode};
use concordant::judge::rehearsal::{Bench, Hand, simulate};
use concordant::judge::signal::{Signal, result_at};
use concordant::judge::{
    Case, DefaultLots, Evaluation, Likeness, Peer, Settlement, evaluate, likenesses,
};
use concordant::measure::{Glassware, GlasswareTable, as_f64, from_f64, to_figures};
use concordant::procedure::{Procedure, Scheme};
use concordant::submission::HandIn;
use concordant::truth::{Assigned, Lot, Sealed, Unknown};
use rand::RngExt;
use rand_chacha::ChaCha20Rng;
use rust_decimal::Decimal;

/// Students of a section.
pub const SECTION: usize = 24;

/// A class before anybody has titrated.
pub struct Class {
    pub procedure: Procedure,
    lots: BTreeMap<LotCode, Lot>,
    unknowns: BTreeMap<UnknownCode, Unknown>,
    codes: Vec<String>,
    truths: Vec<f64>,
    ids: Vec<String>,
}

/// What one student of a class handed in, and the bottle it was.
#[derive(Clone)]
pub struct Work {
    pub bottle: usize,
    pub hand_in: HandIn,
}

pub fn shipped(key: &str, glassware: &GlasswareTable) -> Procedure {
    let text = shipped_procedure(key).expect("shipped");
    read_procedure(key, &text, glassware).expect("valid")
}

/// Glassware without calibration errors: titres of one bottle then differ by reading and endpoint alone, and coincide
/// most often.
pub fn exact_glassware() -> GlasswareTable {
    let mut table = shipped_glassware();
    let pieces: Vec<Glassware> = table
        .iter()
        .filter(|p| !p.kind().is_displayed())
        .cloned()
        .collect();
    for piece in pieces {
        let exact = Glassware::new(
            piece.key(),
            piece.kind(),
            None,
            piece.capacity(),
            piece.graduation(),
            Decimal::new(1, 5),
            "none",
        );
        table.insert(exact.expect("valid"));
    }
    table
}

impl Class {
    pub fn of(procedure: Procedure, bottles: usize, rng: &mut ChaCha20Rng) -> Self {
        let lot = |code: &str, reagent: &str, nominal: Decimal| Lot {
            code: LotCode::new(code),
            reagent: reagent.to_owned(),
            molarity: assigned(nominal),
            version: 1,
        };
        let mut lots = BTreeMap::new();
        if let Some((species, nominal)) = procedure.lot_reagent() {
            lots.insert(LotCode::new("T"), lot("T", species.written(), nominal));
        }
        if let Some(excess) = &procedure.excess {
            let excess = lot("X", excess.species.written(), excess.nominal);
            lots.insert(excess.code.clone(), excess);
        }
        let mut class = Self {
            procedure,
            lots,
            unknowns: BTreeMap::new(),
            codes: (0..bottles).map(|n| format!("U-{n}")).collect(),
            truths: Vec::new(),
            ids: (0..SECTION).map(|n| format!("{n:02}")).collect(),
        };
        for code in class.codes.clone() {
            let truth = to_figures(from_f64(class.truth(rng), 8).expect("a number"), 5);
            class.truths.push(as_f64(truth));
            let unknown = Unknown {
                code: UnknownCode::new(code),
                truth: Sealed::new(assigned(truth)),
                version: 1,
            };
            class.unknowns.insert(unknown.code.clone(), unknown);
        }
        class
    }

    /// A bottle that takes 40 to 70 % of the burette.
    fn truth(&self, rng: &mut ChaCha20Rng) -> f64 {
        if self.procedure.scheme == Scheme::Standardisation {
            let label = self.procedure.titrant.as_ref().expect("a titrant").nominal;
            return as_f64(label) * rng.random_range(0.95..1.05);
        }
        let signal = Signal::of(&self.procedure).full * rng.random_range(0.40..0.70);
        result_at(&self.procedure, &self.bench(1.0), signal).expect("a result")
    }

    fn bench(&self, truth: f64) -> Bench<'_> {
        Bench {
            truth,
            lot: self.lots.get("T"),
            excess_lot: self.lots.get("X"),
            blank: 0.12,
        }
    }

    /// One student of that care; none for anybody's.
    pub fn work(&self, bottle: usize, care: Option<f64>, rng: &mut ChaCha20Rng) -> Work {
        let hand = Hand {
            care: care.unwrap_or_else(|| rng.random_range(0.6..1.1)),
            sloppy_decimals: 0.0,
            trials: self.procedure.trials.minimum,
            rough: rng.random::<f64>() < 0.3,
        };
        let bench = self.bench(self.truths[bottle]);
        let hand_in = simulate(&self.procedure, &bench, &hand, rng).expect("can be titrated");
        Work { bottle, hand_in }
    }

    /// A section of students with bottles dealt by chance.
    pub fn section(&self, care: Option<f64>, rng: &mut ChaCha20Rng) -> Vec<Work> {
        let one = |_| {
            let bottle = rng.random_range(0..self.codes.len());
            self.work(bottle, care, rng)
        };
        (0..SECTION).map(one).collect()
    }

    /// What the readings of a section share, by place of the student.
    pub fn alike(&self, section: &[Work]) -> BTreeMap<usize, Vec<Likeness>> {
        let peer = |(work, id): (&'_ Work, &'_ String)| -> (String, usize, HandIn) {
            (id.clone(), work.bottle, work.hand_in.clone())
        };
        let owned: Vec<_> = section.iter().zip(&self.ids).map(peer).collect();
        let peers: Vec<Peer> = owned
            .iter()
            .map(|(id, bottle, hand_in)| Peer {
                students: vec![id],
                group: None,
                unknown: Some(&self.codes[*bottle]),
                hand_in,
            })
            .collect();
        likenesses(&self.procedure, &peers)
            .into_iter()
            .map(|(id, found)| (id.parse().expect("a place"), found))
            .collect()
    }

    /// Pairs of a section that are flagged, and how many pairs there are: of the same bottle, and of others.
    pub fn pairs(&self, section: &[Work]) -> [(usize, usize); 2] {
        let found = self.alike(section);
        let mut counts = [(0, 0); 2];
        for one in 0..section.len() {
            for other in one + 1..section.len() {
                let kind = usize::from(section[one].bottle != section[other].bottle);
                counts[kind].1 += 1;
                counts[kind].0 += usize::from(self.are_alike(&found, one, other));
            }
        }
        counts
    }

    pub fn are_alike(
        &self,
        found: &BTreeMap<usize, Vec<Likeness>>,
        one: usize,
        other: usize,
    ) -> bool {
        let names = |of: usize, whom: usize| {
            let all = found.get(&of);
            all.is_some_and(|all| all.iter().any(|l| l.others.contains(&self.ids[whom])))
        };
        assert_eq!(names(one, other), names(other, one), "both or neither");
        names(one, other)
    }

    pub fn judge(&self, work: &Work, likenesses: &[Likeness]) -> Evaluation {
        let has = |code: &str| self.lots.contains_key(code).then(|| LotCode::new(code));
        evaluate(&Case {
            procedure: &self.procedure,
            hand_in: &work.hand_in,
            revision: 1,
            lots: &self.lots,
            default_lots: &DefaultLots {
                titrant: has("T"),
                excess: has("X"),
                assigned: false,
            },
            unknowns: &self.unknowns,
            issued: Some(&self.codes[work.bottle]),
            submitted_at: None,
            due: None,
            by_hand: None,
            settlement: &Settlement::default(),
            likenesses,
        })
    }
}

fn assigned(value: Decimal) -> Assigned {
    Assigned {
        value,
        standard_uncertainty: value.abs() * Decimal::new(5, 4),
    }
}
