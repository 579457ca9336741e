//! Courses of several sections, with hands and arithmetic of their own: nothing here knows how likeness is judged, and
//! nothing is taken from `simulate`.

use concordant::columns::Column;
use concordant::files::{read_procedure, shipped_glassware, shipped_procedure};
use concordant::judge::{Likeness, Peer, likenesses};
use concordant::measure::Reading;
use concordant::procedure::Procedure;
use concordant::submission::{HandIn, Titration, TrialLabel};
use rand::RngExt;
use rand_chacha::ChaCha20Rng;
use rust_decimal::Decimal;

/// Students of a section, and bottles that all sections share.
pub const SECTION: usize = 24;
pub const BOTTLES: usize = 6;
/// Share of honest students who take another bottle than theirs.
const ASTRAY: f64 = 0.03;

/// How the sample of one trial is found.
#[derive(Clone, Copy, PartialEq)]
pub enum Sample {
    /// A pipette: the same each time.
    Pipette,
    /// So many mL in a cylinder.
    Cylinder(f64),
    /// So many g on a tared balance.
    Tared(f64),
    /// So many g between two weighings.
    Difference(f64),
}

pub struct Scheme {
    pub name: &'static str,
    pub key: &'static str,
    pub sample: Sample,
    /// Whether more sample needs less titrant.
    back: bool,
    trials: u32,
}

const fn scheme(name: &'static str, key: &'static str, sample: Sample) -> Scheme {
    Scheme {
        name,
        key,
        sample,
        back: false,
        trials: 3,
    }
}

pub const SCHEMES: [Scheme; 5] = [
    scheme(
        "direct by volume",
        "well-water-hardness",
        Sample::Cylinder(50.0),
    ),
    scheme(
        "direct by mass",
        "naoh-against-khp",
        Sample::Difference(0.5),
    ),
    scheme("aliquot", "vinegar-acidity", Sample::Pipette),
    Scheme {
        back: true,
        ..scheme("back", "eggshell-carbonate", Sample::Tared(0.4))
    },
    Scheme {
        back: true,
        trials: 4,
        ..scheme(
            "back by difference",
            "antacid-back",
            Sample::Difference(0.3),
        )
    },
];

#[derive(Clone)]
pub struct Student {
    pub id: String,
    pub section: String,
    pub bottle: usize,
    pub hand_in: HandIn,
}

#[derive(Clone)]
pub struct Course {
    pub procedure: Procedure,
    pub students: Vec<Student>,
}

fn normal(rng: &mut ChaCha20Rng) -> f64 {
    // a sum of twelve rectangles less six
    (0..12).map(|_| rng.random::<f64>()).sum::<f64>() - 6.0
}

/// Student's t with three degrees of freedom.
fn heavy(rng: &mut ChaCha20Rng) -> f64 {
    let squares: f64 = (0..3).map(|_| normal(rng).powi(2)).sum();
    normal(rng) / (squares / 3.0).sqrt().max(0.05)
}

pub fn reading(steps: i64, decimals: u32) -> Reading {
    Reading::parse(&Decimal::new(steps, decimals).to_string()).expect("a reading")
}

#[derive(Clone, Copy, PartialEq)]
enum Filling {
    CarriedOn { read_again: bool },
    Zero,
    NearTop,
}

struct Hand {
    s: f64,
    is_heavy: bool,
    bias: f64,
    filling: Filling,
    /// Share of readings written to the nearest half division.
    preference: f64,
    /// How far a titre is taken towards the first.
    towards_first: f64,
    rough: bool,
    weighs_once: bool,
}

impl Hand {
    fn any(rng: &mut ChaCha20Rng) -> Self {
        let sort: f64 = rng.random();
        let own = rng.random_range(0.025..0.030);
        let (times, bias) = match sort {
            sort if sort < 0.80 => (1.0, 0.0),
            sort if sort < 0.95 => (rng.random_range(3.0..4.0), 0.004),
            _ => (rng.random_range(3.0..4.0), 0.006),
        };
        Self {
            s: own * times,
            is_heavy: sort >= 0.95,
            bias: bias * normal(rng),
            filling: match rng.random_range(0..6) {
                0 => Filling::CarriedOn { read_again: true },
                1 => Filling::CarriedOn { read_again: false },
                2 | 3 => Filling::Zero,
                _ => Filling::NearTop,
            },
            preference: rng.random_range(0.0..0.5),
            towards_first: if rng.random::<f64>() < 0.2 {
                rng.random_range(0.2..0.7)
            } else {
                0.0
            },
            rough: rng.random(),
            weighs_once: rng.random::<f64>() < 0.7,
        }
    }

    /// What is written where the meniscus stands, hundredths of a mL.
    fn read(&self, at: f64, rng: &mut ChaCha20Rng) -> i64 {
        let seen = at + 0.3 * self.s.min(0.03) * normal(rng);
        if rng.random::<f64>() < self.preference {
            (seen * 20.0).round() as i64 * 5
        } else {
            (seen * 100.0).round() as i64
        }
        .max(0)
    }
}

impl Scheme {
    pub fn procedure(&self) -> Procedure {
        let text = shipped_procedure(self.key).expect("is shipped");
        read_procedure(self.key, &text, &shipped_glassware()).expect("is sound")
    }

    pub fn course(&self, sections: usize, rng: &mut ChaCha20Rng) -> Course {
        self.course_of(sections, SECTION, rng)
    }

    pub fn course_of(&self, sections: usize, size: usize, rng: &mut ChaCha20Rng) -> Course {
        // what the nominal sample of each bottle takes, mL: a few tenths apart, or some millilitres
        let bottles: Vec<f64> = (0..BOTTLES).map(|_| rng.random_range(16.0..24.0)).collect();
        let students = (0..sections * size).map(|n| {
            let bottle = rng.random_range(0..BOTTLES);
            let taken = if rng.random::<f64>() < ASTRAY {
                rng.random_range(0..BOTTLES)
            } else {
                bottle
            };
            Student {
                id: format!("s{n:04}"),
                section: format!("section {}", n / size + 1),
                bottle,
                hand_in: self.titrated(bottles[taken], rng),
            }
        });
        Course {
            procedure: self.procedure(),
            students: students.collect(),
        }
    }

    /// What one student hands in.
    pub fn titrated(&self, nominal_titre: f64, rng: &mut ChaCha20Rng) -> HandIn {
        let hand = Hand::any(rng);
        // the burette and the pipette of the bench
        let calibration = 1.0 + 0.000_8 * normal(rng);
        let mut stood: Option<(f64, i64)> = None;
        let mut first: Option<f64> = None;
        let mut pan = rng.random_range(18.0..25.0_f64);
        let mut weighed: Option<i64> = None;
        let mut titrations = Vec::new();
        let labels = (1..=self.trials).map(TrialLabel::Numbered);
        for label in hand
            .rough
            .then_some(TrialLabel::Rough)
            .into_iter()
            .chain(labels)
        {
            let mut row = Titration::new(label);
            let sample = match self.sample {
                Sample::Pipette => 1.0,
                Sample::Cylinder(nominal) => {
                    let volume = nominal + rng.random_range(-0.3..0.3);
                    let written = (volume * 10.0).round() as i64;
                    row.readings
                        .insert(Column::SampleVolume, reading(written, 1));
                    volume / nominal
                }
                Sample::Tared(nominal) => {
                    let mass = nominal * rng.random_range(0.92..1.08);
                    let written = (mass * 10_000.0).round() as i64;
                    row.readings.insert(Column::SampleMass, reading(written, 4));
                    mass / nominal
                }
                Sample::Difference(nominal) => {
                    let mass = nominal * rng.random_range(0.92..1.08);
                    let seen = |mass: f64| (mass * 10_000.0).round() as i64;
                    let before = match weighed {
                        Some(last) if hand.weighs_once => last,
                        Some(last) => last + rng.random_range(-2..=2),
                        None => seen(pan),
                    };
                    pan -= mass;
                    let after = seen(pan);
                    row.readings
                        .insert(Column::SampleBefore, reading(before, 4));
                    row.readings.insert(Column::SampleAfter, reading(after, 4));
                    weighed = Some(after);
                    (before - after) as f64 / 10_000.0 / nominal
                }
            };
            let takes = if self.back {
                // half of the excess is used up
                2.0 * nominal_titre - nominal_titre * sample
            } else {
                nominal_titre * sample
            };
            let error = if hand.is_heavy {
                heavy(rng)
            } else {
                normal(rng)
            };
            let mut titre = takes * calibration * (1.0 + hand.bias) + hand.s * error;
            if label == TrialLabel::Rough {
                titre += rng.random_range(0.0..1.0);
            } else if self.sample == Sample::Pipette {
                match first {
                    Some(first) if (titre - first).abs() < 0.1 => {
                        titre += hand.towards_first * (first - titre);
                    }
                    Some(_) => {}
                    None => first = Some(titre),
                }
            }
            let (at, start) = match (hand.filling, stood) {
                (Filling::CarriedOn { read_again }, Some((at, last))) if at + titre < 50.0 => {
                    let start = if read_again { hand.read(at, rng) } else { last };
                    (at, start)
                }
                (Filling::Zero, _) => (0.0, 0),
                _ => {
                    let at = rng.random_range(0.0..1.0);
                    (at, hand.read(at, rng))
                }
            };
            let end = hand.read(at + titre, rng);
            stood = Some((at + titre, end));
            row.readings
                .insert(Column::BuretteStart(1), reading(start, 2));
            row.readings.insert(Column::BuretteEnd(1), reading(end, 2));
            titrations.push(row);
        }
        HandIn {
            titrations,
            ..HandIn::default()
        }
    }
}

const CODES: [&str; BOTTLES] = ["U1", "U2", "U3", "U4", "U5", "U6"];

impl Course {
    pub fn peers(&self) -> Vec<Peer<'_>> {
        self.students
            .iter()
            .enumerate()
            .map(|(place, student)| Peer {
                place,
                at: None,
                first: None,
                students: vec![&student.id],
                section: &student.section,
                group: None,
                unknown: Some(CODES[student.bottle]),
                hand_in: &student.hand_in,
            })
            .collect()
    }

    /// Pairs that are taken for copies: places, and what is shared.
    pub fn alike(&self) -> Vec<(usize, usize, Likeness)> {
        let found = likenesses(&self.procedure, &self.peers());
        let place = |id: &str| id[1..].parse::<usize>().expect("a place");
        let mut pairs = Vec::new();
        for (id, all) in found {
            for one in all {
                let (own, other) = (place(&id), place(&one.others[0]));
                if own < other {
                    pairs.push((own, other, one));
                }
            }
        }
        pairs
    }
}
