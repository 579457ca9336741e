//! What people do at the bench, as numbers with units, and how many people do what.
//!
//! Two classes are simulated. The careful one makes the errors that the procedure states and has no habits. The realistic
//! one is as instructors know their sections; where no source stands beside a number, it is common practice: what people
//! who teach titration expect of a first-year section.

use rand::{Rng, RngExt};

use crate::measure::as_f64;
use crate::procedure::Procedure;
use crate::workup::titre_scatter;

/// How an error is spread about zero.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Spread {
    /// Half-width of a rectangle.
    Rectangle(f64),
    /// Half-width of a triangle.
    Triangle(f64),
    /// Standard deviation of the sum of three rectangles: nearly normal, and never beyond three of it.
    ThreeRectangles(f64),
    /// Standard deviation of a normal.
    Normal(f64),
    /// Scale of Student's t with three degrees of freedom, whose tails are heavy.
    HeavyTails(f64),
}

/// Where the burette stands as a titration begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Filling {
    /// Where the last one ended, as long as the next fits; the meniscus is read again.
    CarriedOn,
    /// The same, and the end of the last one is written as the start.
    CarriedOnUnread,
    /// Filled to the zero mark, and written as 0.00.
    ToZero,
    /// Filled to somewhere in the first millilitre.
    NearTop,
}

/// What sort of person it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Care {
    Careful,
    Sloppy,
    Poor,
}

/// How one person works.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hands {
    pub care: Care,
    /// What one reading of the burette is off by, mL.
    pub reading: Spread,
    /// How far from the endpoint the burette is closed, mL.
    pub endpoint: Spread,
    /// What a whole determination is off by beyond reading and endpoint, relative.
    pub determination: Spread,
    /// What an absorbance is off by beyond the display's last digit.
    pub absorbance: Spread,
    /// Share of the volume asked for to which a graduated cylinder is meant to be filled.
    pub cylinder_level: f64,
    /// How far from there it is filled, mL.
    pub cylinder_filling: Spread,
    /// Half-width of one reading of a cylinder, in its readable steps, triangular.
    pub cylinder_reading: f64,
    /// What a pipette delivers more than it should in these hands, relative.
    pub pipette_bias: f64,
    /// What the lowest reading of the burette is too high by, mL; the highest half as much. The eye keeps its height, or
    /// follows the meniscus part of the way.
    pub parallax: f64,
    /// How much later the endpoint is called from one titration to the next, mL.
    pub drift: f64,
    /// Share of estimated readings that are written to the nearest half division, so that they end in 0 or 5.
    pub digit_preference: f64,
    pub filling: Filling,
    /// Whether every portion comes out of one weighing bottle, each weighed as what is left after the one before.
    pub one_bottle: bool,
    /// Part of the way that a titre within two drops of one's first is taken towards it.
    pub to_first_titre: f64,
    /// Share of readings written with the wrong number of decimals.
    pub wrong_decimals: f64,
    pub trials: u32,
    /// Whether a rough titration comes first.
    pub rough: bool,
}

/// A mixture of people.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Population {
    /// Everybody makes the reading and endpoint errors that the procedure states, times a number between the two, and
    /// has no habits: they carry the burette on, read every meniscus, and fill a cylinder to 0.3 mL (common practice).
    Careful {
        least: f64,
        most: f64,
        /// Standard deviation of a titre, mL, that counts as 1 in place of what the procedure states.
        spread: Option<f64>,
    },
    /// Four in five careful, one in seven sloppy, one in twenty poor, all with habits.
    Realistic {
        /// Standard deviation of a titre of the careful ones, mL.
        spread: f64,
    },
    /// Nobody titrates: readings are invented around what should have come out.
    Inventing,
}

/// Standard deviation of a careful person's titre, mL: duplicates agree within 0.1 mL 49 times in 50 (common practice).
pub const REALISTIC_SPREAD: f64 = 0.027_5;
/// What a realistic section is like.
const CAREFUL_SHARE: f64 = 0.80;
const SLOPPY_SHARE: f64 = 0.15;
/// One careful person's standard deviation over another's: 0.025 to 0.030 mL.
const CARE: (f64, f64) = (0.91, 1.09);
/// The same of a sloppy or poor person over a careful one's; a poor one's errors have heavy tails besides.
const CARELESSNESS: (f64, f64) = (3.0, 4.0);
/// Standard deviation between people of what a pipette delivers in sloppy and in poor hands, relative: a drop blown out
/// or left hanging is 0.05 of 25 mL, and a mark overshot as much again.
const PIPETTE_BIAS: [f64; 2] = [0.004, 0.006];
/// Part of a titre's standard deviation that one reading has: ± 0.01 mL is what people tell apart between marks 0.1 mL
/// apart. Two readings, and the endpoint for the rest of the variance.
const READING_PART: f64 = 0.35;
/// Standard deviation of an absorbance beyond the display, of a careful person.
const REALISTIC_ABSORBANCE: f64 = 0.002;
/// Half-width of how far from the volume asked for a cylinder is filled, in its intervals: 49.5, 50.0 or 50.4 for 50 mL.
const CYLINDER_INTERVALS: f64 = 0.5;
/// Standard deviation between people, mL: an eye a centimetre or two off the level of a meniscus 5 mm behind the scale.
const PARALLAX: f64 = 0.03;
/// Standard deviation between people, mL: half a drop over five titrations.
const DRIFT: f64 = 0.004;
/// People whose estimated digits are 0 and 5 more often than chance gives, and how large a share of their readings is.
const ROUNDING_PEOPLE: f64 = 0.5;
const ROUNDED_READINGS: (f64, f64) = (0.2, 0.8);
/// People who stop where the first titre was, and how far they go towards it.
const STOPPING_PEOPLE: f64 = 0.25;
const STOPPING: (f64, f64) = (0.2, 0.7);
/// People who drop a zero now and then, and how often.
const ZERO_DROPPERS: f64 = 0.03;
const ZEROS_DROPPED: f64 = 0.3;
/// Half-width of how far from the level meant careful people fill a cylinder, mL (common practice).
const FILLING: f64 = 0.3;
/// Half-width of what an absorbance is off by, beyond the display (common practice).
const ABSORBANCE_NOISE: f64 = 0.004;

impl Population {
    /// Errors exactly as the procedure states them.
    pub const CAREFUL: Self = Self::Careful {
        least: 1.0,
        most: 1.0,
        spread: None,
    };
    /// Careful people, some more than others.
    pub const ORDINARY: Self = Self::Careful {
        least: 0.6,
        most: 1.1,
        spread: None,
    };

    /// One person's hands. A careful class in which all are alike asks the generator nothing.
    pub fn hands(&self, procedure: &Procedure, rng: &mut impl Rng) -> Hands {
        match *self {
            Self::Careful {
                least,
                most,
                spread,
            } => {
                let care = if most > least {
                    rng.random_range(least..most)
                } else {
                    least
                };
                let stated = titre_scatter(procedure).filter(|stated| *stated > 0.0);
                let times = spread
                    .zip(stated)
                    .map_or(1.0, |(wanted, stated)| wanted / stated);
                Hands::careful(procedure, care * times)
            }
            Self::Realistic { spread } => Hands::realistic(procedure, spread, rng),
            Self::Inventing => Hands {
                reading: Spread::Rectangle(0.0),
                // titres of one report lie within 0.02 mL
                endpoint: Spread::Rectangle(0.01),
                determination: Spread::Rectangle(0.0),
                absorbance: Spread::Rectangle(0.002),
                filling: Filling::NearTop,
                ..Hands::careful(procedure, 0.0)
            },
        }
    }
}

impl Hands {
    /// Reading and endpoint errors as multiples of what the procedure states.
    pub fn careful(procedure: &Procedure, care: f64) -> Self {
        let stated = &procedure.uncertainty;
        Self {
            care: Care::Careful,
            reading: Spread::Triangle(as_f64(stated.burette_reading) * care),
            endpoint: Spread::Rectangle(as_f64(stated.drop) / 2.0 * care),
            determination: Spread::ThreeRectangles(as_f64(stated.repeatability) / 100.0 * care),
            absorbance: Spread::Triangle(ABSORBANCE_NOISE * care),
            // below the last mark
            cylinder_level: 0.985,
            // a small cylinder is filled the more closely, and nobody past its last mark
            cylinder_filling: Spread::Rectangle(
                FILLING.min(0.015 * as_f64(procedure.sample.nominal)),
            ),
            cylinder_reading: 2.0 * care,
            pipette_bias: 0.0,
            parallax: 0.0,
            drift: 0.0,
            digit_preference: 0.0,
            filling: Filling::CarriedOn,
            one_bottle: false,
            to_first_titre: 0.0,
            wrong_decimals: 0.0,
            trials: procedure.trials.minimum,
            rough: false,
        }
    }

    fn realistic(procedure: &Procedure, spread: f64, rng: &mut impl Rng) -> Self {
        let between = |(least, most), rng: &mut dyn FnMut() -> f64| least + (most - least) * rng();
        let mut random = || rng.random::<f64>();
        let own = spread * between(CARE, &mut random);
        let care = match random() {
            sort if sort < CAREFUL_SHARE => Care::Careful,
            sort if sort < CAREFUL_SHARE + SLOPPY_SHARE => Care::Sloppy,
            _ => Care::Poor,
        };
        let carelessness = between(CARELESSNESS, &mut random);
        let [sloppy_pipette, poor_pipette] = PIPETTE_BIAS;
        let (times, pipette) = match care {
            Care::Careful => (1.0, 0.0),
            Care::Sloppy => (carelessness, sloppy_pipette),
            Care::Poor => (carelessness, poor_pipette),
        };
        let s = own * times;
        let reading = READING_PART * s;
        let endpoint = (s * s - 2.0 * reading * reading).sqrt();
        let shape = |s| {
            if care == Care::Poor {
                Spread::HeavyTails(s)
            } else {
                Spread::Normal(s)
            }
        };
        let some = |share, value, rng: &mut dyn FnMut() -> f64| {
            if rng() < share { value } else { 0.0 }
        };
        let rounded = between(ROUNDED_READINGS, &mut random);
        let digit_preference = some(ROUNDING_PEOPLE, rounded, &mut random);
        let stopping = between(STOPPING, &mut random);
        let to_first_titre = some(STOPPING_PEOPLE, stopping, &mut random);
        let wrong_decimals = some(ZERO_DROPPERS, ZEROS_DROPPED, &mut random);
        let repeatability = as_f64(procedure.uncertainty.repeatability) / 100.0;
        let interval = procedure.sample.glassware.graduation().map_or(0.0, as_f64);
        Self {
            care,
            reading: Spread::Normal(reading),
            endpoint: shape(endpoint),
            determination: shape(repeatability * times),
            absorbance: shape(REALISTIC_ABSORBANCE * times),
            cylinder_level: 1.0,
            cylinder_filling: Spread::Rectangle(CYLINDER_INTERVALS * interval),
            cylinder_reading: 2.0,
            pipette_bias: Spread::Normal(pipette).draw(rng),
            parallax: Spread::Normal(PARALLAX).draw(rng),
            drift: Spread::Normal(DRIFT).draw(rng),
            digit_preference,
            // a third each
            filling: match rng.random_range(0..6) {
                0 => Filling::CarriedOn,
                1 => Filling::CarriedOnUnread,
                2 | 3 => Filling::ToZero,
                _ => Filling::NearTop,
            },
            one_bottle: rng.random(),
            to_first_titre,
            wrong_decimals,
            trials: procedure.trials.minimum,
            rough: rng.random(),
        }
    }
}

impl Spread {
    pub fn draw(self, rng: &mut impl Rng) -> f64 {
        let mut random = || rng.random::<f64>();
        match self {
            Self::Rectangle(half_width) => half_width * (2.0 * random() - 1.0),
            Self::Triangle(half_width) => half_width * (random() - random()),
            Self::ThreeRectangles(s) => s * (0..3).map(|_| 2.0 * random() - 1.0).sum::<f64>(),
            Self::Normal(s) => s * normal(rng),
            Self::HeavyTails(scale) => {
                let squares: f64 = (0..3).map(|_| normal(rng).powi(2)).sum();
                scale * normal(rng) / (squares / 3.0).sqrt().max(0.05)
            }
        }
    }
}

/// Standard normal, by Box and Muller.
pub fn normal(rng: &mut impl Rng) -> f64 {
    let (u, v): (f64, f64) = (rng.random(), rng.random());
    (-2.0 * (1.0 - u).ln()).sqrt() * (std::f64::consts::TAU * v).cos()
}
