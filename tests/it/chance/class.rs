//! A simulated class: a procedure, its lots and bottles, students of ordinary care.

use std::collections::BTreeMap;

use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::judge::{AuditKind, Case, Evaluation, Likeness, Peer, evaluate, likenesses};
use concordant::measure::{Glassware, GlasswareTable};
use concordant::procedure::Procedure;
use concordant::simulate::hands::{Hands, Population};
use concordant::simulate::supplies::{Order, Place, Supplies};
use concordant::submission::HandIn;
use rand::RngExt;
use rand_chacha::ChaCha20Rng;
use rust_decimal::Decimal;

/// Students of a section.
pub const SECTION: usize = 24;

/// A class before anybody has titrated.
pub struct Class {
    pub procedure: Procedure,
    supplies: Supplies,
    bottles: usize,
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
        let order = Order {
            unknowns: bottles,
            scale: (0.40, 0.70),
            lot_uncertainty: 0.000_5,
            unknown_uncertainty: 0.000_5,
            exact: true,
            ..Order::default()
        };
        Self {
            supplies: Supplies::make(&procedure, &order, rng).expect("can be carried out"),
            procedure,
            bottles,
            ids: (0..SECTION).map(|n| format!("{n:02}")).collect(),
        }
    }

    /// One student of that care; none for anybody's.
    pub fn work(&self, bottle: usize, care: Option<f64>, rng: &mut ChaCha20Rng) -> Work {
        let hands = match care {
            Some(care) => Hands::careful(&self.procedure, care),
            None => Population::ORDINARY.hands(&self.procedure, rng),
        };
        let hands = Hands {
            rough: rng.random::<f64>() < 0.3,
            ..hands
        };
        let hand_in = self
            .supplies
            .titrated(&self.procedure, Place::of(bottle), &hands, rng)
            .expect("can be titrated");
        Work { bottle, hand_in }
    }

    /// A section of students with bottles dealt by chance.
    pub fn section(&self, care: Option<f64>, rng: &mut ChaCha20Rng) -> Vec<Work> {
        let one = |_| {
            let bottle = rng.random_range(0..self.bottles);
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
            .enumerate()
            .map(|(place, (id, bottle, hand_in))| Peer {
                place,
                at: None,
                first: None,
                students: vec![id],
                section: "A",
                group: None,
                unknown: self.supplies.code(AuditKind::Unknown, *bottle),
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
        evaluate(&Case {
            class: &concordant::judge::ClassEvidence {
                likenesses: likenesses.to_vec(),
                ..Default::default()
            },
            ..self
                .supplies
                .case(&self.procedure, &work.hand_in, work.bottle)
        })
    }
}
