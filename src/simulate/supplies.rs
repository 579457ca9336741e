//! What the prep room made for a class: what is written on each bottle, and what is in it.

use std::collections::BTreeMap;

use rand::{Rng, RngExt};
use rust_decimal::Decimal;

use super::hands::{Hands, normal};
use super::student::simulate;
use crate::chem::Formula;
use crate::ids::{LotCode, UnknownCode};
use crate::judge::signal::{Bench, Signal, expected_signal, result_at};
use crate::judge::{AuditKind, Case, ClassEvidence, DefaultLots, GroupName, Settlement};
use crate::measure::{as_f64, from_f64, to_figures};
use crate::procedure::Procedure;
use crate::submission::HandIn;
use crate::truth::{Assigned, Lot, Sealed, Unknown};

/// What a blank takes, mL.
pub const BLANK: f64 = 0.12;

/// What the prep room is asked for.
#[derive(Clone, Debug)]
pub struct Order {
    /// Lots of titrant or of stock, where the result depends on them.
    pub lots: usize,
    /// Lots of excess reagent, where there is one.
    pub excess_lots: usize,
    pub unknowns: usize,
    /// What the first, third, … and the second, fourth, … lot is assigned, over what its label says.
    pub over_label: [f64; 2],
    /// The same of excess reagent.
    pub excess_over_label: f64,
    /// What the unknowns give, as shares of the burette or of another scale.
    pub scale: (f64, f64),
    /// Relative standard uncertainty of a lot.
    pub lot_uncertainty: f64,
    /// Relative standard uncertainty of an unknown.
    pub unknown_uncertainty: f64,
    /// Whether every bottle holds what is written on it, and not something within its uncertainty.
    pub exact: bool,
    pub wrong: Wrong,
    /// Codes begin with it; without it they are L0, X0, U0 and so on.
    pub prefix: Option<String>,
}

impl Default for Order {
    /// One lot and eight bottles as they should be, made as well as a balance and flasks allow.
    fn default() -> Self {
        Self {
            lots: 1,
            excess_lots: 1,
            unknowns: 8,
            over_label: [1.0, 1.0],
            excess_over_label: 1.0,
            scale: (0.4, 0.6),
            lot_uncertainty: 0.000_8,
            unknown_uncertainty: 0.001,
            exact: false,
            wrong: Wrong::Nothing,
            prefix: None,
        }
    }
}

/// What is wrong with a class, in percent of what is assigned.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Wrong {
    Nothing,
    /// The lot of that number holds so much more than its label says.
    Lot(usize, f64),
    /// The lot of excess reagent of that number holds so much more than its label says.
    Excess(usize, f64),
    /// The bottle of that number holds so much more than its label says.
    Unknown(usize, f64),
    /// The section of that number titrates so many mL too far.
    Section(usize, f64),
    /// A lot and a bottle.
    Both([(usize, f64); 2]),
    /// The lot of that number loses so much per day.
    Decay(usize, f64),
}

impl Wrong {
    /// Percent by which what is in a bottle is more than it should be.
    fn percent(self, kind: AuditKind, number: usize) -> f64 {
        let share = |of: AuditKind, (at, percent): (usize, f64)| {
            if of == kind && at == number {
                percent
            } else {
                0.0
            }
        };
        match self {
            Self::Nothing | Self::Section(..) | Self::Decay(..) => 0.0,
            Self::Lot(at, percent) => share(AuditKind::Lot, (at, percent)),
            Self::Excess(at, percent) => share(AuditKind::ExcessLot, (at, percent)),
            Self::Unknown(at, percent) => share(AuditKind::Unknown, (at, percent)),
            Self::Both([lot, bottle]) => {
                share(AuditKind::Lot, lot) + share(AuditKind::Unknown, bottle)
            }
        }
    }
}

/// What somebody works with, by numbers.
#[derive(Clone, Copy, Debug)]
pub struct Place {
    pub bottle: usize,
    pub lot: usize,
    pub excess_lot: usize,
    /// Days after the lots were made.
    pub day: usize,
    /// What is titrated over what should be.
    pub share: f64,
}

impl Place {
    /// With that bottle and the first of every lot.
    pub fn of(bottle: usize) -> Self {
        Self {
            bottle,
            lot: 0,
            excess_lot: 0,
            day: 0,
            share: 1.0,
        }
    }
}

/// Everything on the shelf of one experiment.
#[derive(Clone, Debug, Default)]
pub struct Supplies {
    /// As assigned, by code.
    pub lots: BTreeMap<LotCode, Lot>,
    /// As assigned, by code.
    pub unknowns: BTreeMap<UnknownCode, Unknown>,
    /// What is really there.
    really: BTreeMap<GroupName, Decimal>,
    /// What is written on the unknowns, by number.
    written: Vec<Assigned>,
    /// Codes by kind and number.
    codes: BTreeMap<(AuditKind, usize), String>,
    decay: Option<(usize, f64)>,
    default_lots: DefaultLots,
    settlement: Settlement,
}

impl Supplies {
    /// None where the procedure cannot be carried out. The same generator makes the same bottles.
    pub fn make(procedure: &Procedure, order: &Order, rng: &mut impl Rng) -> Option<Self> {
        let mut made = Self::default();
        if let Wrong::Decay(number, percent) = order.wrong {
            made.decay = Some((number, percent));
        }
        if let Some(reagent) = procedure.lot_reagent() {
            for number in 0..order.lots {
                let over = order.over_label[number % 2];
                made.lot(AuditKind::Lot, number, reagent, over, order, rng)?;
            }
        }
        if let Some(excess) = procedure.excess() {
            let (reagent, over) = ((&excess.species, excess.nominal), order.excess_over_label);
            for number in 0..order.excess_lots {
                made.lot(AuditKind::ExcessLot, number, reagent, over, order, rng)?;
            }
        }
        let (lot, excess) = (made.lot_on(0, 0), made.as_it_is(AuditKind::ExcessLot, 0));
        let bench = Bench {
            truth: 1.0,
            lot: lot.as_ref(),
            excess_lot: excess.as_ref(),
            blank: BLANK,
        };
        for number in 0..order.unknowns {
            let content = content(procedure, &bench, order.scale, rng.random())?;
            let value = to_figures(from_f64(content, 8)?, 5);
            made.unknown(number, value, order, rng)?;
        }
        made.default_lots = DefaultLots {
            titrant: made.code(AuditKind::Lot, 0).map(LotCode::new),
            excess: made.code(AuditKind::ExcessLot, 0).map(LotCode::new),
            assigned: false,
        };
        Some(made)
    }

    /// These lots and one bottle, all of which hold what is written on them.
    pub fn exactly<'l>(lots: impl Iterator<Item = &'l Lot>, content: Decimal) -> Self {
        let unknown = Unknown {
            code: UnknownCode::new("u"),
            truth: Sealed::new(Assigned {
                value: content,
                standard_uncertainty: Decimal::ZERO,
            }),
            version: 1,
        };
        Self {
            lots: lots.map(|lot| (lot.code.clone(), lot.clone())).collect(),
            codes: BTreeMap::from([((AuditKind::Unknown, 0), unknown.code.to_string())]),
            unknowns: BTreeMap::from([(unknown.code.clone(), unknown)]),
            ..Self::default()
        }
    }

    fn lot(
        &mut self,
        kind: AuditKind,
        number: usize,
        (species, nominal): (&Formula, Decimal),
        over_label: f64,
        order: &Order,
        rng: &mut impl Rng,
    ) -> Option<()> {
        let value = nominal.checked_mul(from_f64(over_label, 5)?)?;
        let value = if over_label == 1.0 {
            value
        } else {
            to_figures(value, 5)
        };
        let lot = Lot {
            code: LotCode::new(self.put(kind, number, value, order.lot_uncertainty, order, rng)?),
            reagent: species.written().to_owned(),
            molarity: assigned(value, order.lot_uncertainty)?,
            version: 1,
            standardised: None,
        };
        self.lots.insert(lot.code.clone(), lot);
        Some(())
    }

    fn unknown(
        &mut self,
        number: usize,
        value: Decimal,
        order: &Order,
        rng: &mut impl Rng,
    ) -> Option<()> {
        let relative = order.unknown_uncertainty;
        let written = assigned(value, relative)?;
        self.written.push(written);
        let unknown = Unknown {
            code: UnknownCode::new(self.put(
                AuditKind::Unknown,
                number,
                value,
                relative,
                order,
                rng,
            )?),
            truth: Sealed::new(written),
            version: 1,
        };
        self.unknowns.insert(unknown.code.clone(), unknown);
        Some(())
    }

    /// Puts into a bottle what is written on it, off by what its uncertainty says and by what is wrong with it.
    fn put(
        &mut self,
        kind: AuditKind,
        number: usize,
        assigned: Decimal,
        relative: f64,
        order: &Order,
        rng: &mut impl Rng,
    ) -> Option<String> {
        let (letter, suffix) = match kind {
            AuditKind::Lot => ("L", format!("T{}", number.saturating_add(1))),
            AuditKind::ExcessLot => ("X", format!("X{}", number.saturating_add(1))),
            _ => ("U", format!("{:02}", number.saturating_add(1))),
        };
        let code = match &order.prefix {
            Some(prefix) => format!("{prefix}-{suffix}"),
            None => format!("{letter}{number}"),
        };
        let wrong = order.wrong.percent(kind, number);
        let off = if order.exact {
            wrong
        } else {
            wrong + 100.0 * relative * normal(rng)
        };
        let really = assigned.checked_mul(from_f64(1.0 + off / 100.0, 12)?)?;
        self.really
            .insert(GroupName::new(kind, code.as_str()), really);
        self.codes.insert((kind, number), code.clone());
        Some(code)
    }

    /// What every bottle really holds.
    pub fn really(&self) -> BTreeMap<GroupName, f64> {
        let all = self.really.iter();
        all.map(|(name, value)| (name.clone(), as_f64(*value)))
            .collect()
    }

    pub fn code(&self, kind: AuditKind, number: usize) -> Option<&str> {
        self.codes.get(&(kind, number)).map(String::as_str)
    }

    /// The lot of that number as it really is so many days after it was made.
    fn lot_on(&self, number: usize, day: usize) -> Option<Lot> {
        let mut lot = self.as_it_is(AuditKind::Lot, number)?;
        if let Some((_, percent)) = self.decay.filter(|(decaying, _)| *decaying == number) {
            let left = from_f64(1.0 - percent / 100.0 * day as f64, 12)?;
            lot.molarity.value = lot.molarity.value.checked_mul(left)?;
        }
        Some(lot)
    }

    /// The same bench with what the bottle of that code holds, of the supplies of an earlier experiment, as its titrant.
    pub fn with_titrant_of(&self, earlier: &Self, bottle: &str) -> Option<Self> {
        let name = GroupName::new(AuditKind::Unknown, bottle);
        let value = *earlier.really.get(&name)?;
        let mut supplies = self.clone();
        let lot = Lot {
            code: LotCode::new("own"),
            ..Lot::nominal(value)
        };
        let name = GroupName::new(AuditKind::Lot, lot.code.as_str());
        supplies.really.insert(name, value);
        supplies
            .codes
            .insert((AuditKind::Lot, 0), lot.code.to_string());
        supplies.lots.insert(lot.code.clone(), lot);
        Some(supplies)
    }

    /// The same bench with the first lot of an earlier experiment, of which the standards were made.
    pub fn with_stock_of(&self, earlier: &Self) -> Option<Self> {
        let lot = earlier.as_it_is(AuditKind::Lot, 0)?;
        let name = GroupName::new(AuditKind::Lot, lot.code.as_str());
        let mut supplies = self.clone();
        supplies.really.insert(name, lot.molarity.value);
        let number = (AuditKind::Lot, 0);
        supplies.codes.insert(number, lot.code.to_string());
        let as_written = earlier.lots.get(&lot.code)?;
        supplies.lots.insert(lot.code, as_written.clone());
        Some(supplies)
    }

    fn as_it_is(&self, kind: AuditKind, number: usize) -> Option<Lot> {
        let code = self.code(kind, number)?;
        let mut lot = self.lots.get(code)?.clone();
        lot.molarity.value = *self.really.get(&GroupName::new(kind, code))?;
        Some(lot)
    }

    /// What the bottle of that number really holds, in the result unit.
    fn content(&self, number: usize) -> Option<f64> {
        let code = self.code(AuditKind::Unknown, number)?;
        let name = GroupName::new(AuditKind::Unknown, code);
        self.really.get(&name).map(|value| as_f64(*value))
    }

    /// What somebody writes down who works at that place.
    pub fn titrated(
        &self,
        procedure: &Procedure,
        place: Place,
        hands: &Hands,
        rng: &mut impl Rng,
    ) -> Option<HandIn> {
        let lot = self.lot_on(place.lot, place.day);
        let excess_lot = self.as_it_is(AuditKind::ExcessLot, place.excess_lot);
        let content = self.content(place.bottle)?;
        let bench = Bench {
            truth: content,
            lot: lot.as_ref(),
            excess_lot: excess_lot.as_ref(),
            blank: BLANK,
        };
        let truth = if place.share == 1.0 {
            content
        } else if procedure.weighs_for_the_result() {
            // another part of it takes another volume, and weighs as much as before
            let titre = expected_signal(procedure, &bench)?;
            result_at(procedure, &bench, titre * place.share)?
        } else {
            content * place.share
        };
        simulate(procedure, &Bench { truth, ..bench }, hands, rng)
    }

    /// What is written on the bottle of that number.
    pub fn assigned(&self, number: usize) -> Option<Assigned> {
        self.written.get(number).copied()
    }

    /// What somebody handed in who has the bottle of that number, of a section with the first of every lot.
    pub fn case<'a>(
        &'a self,
        procedure: &'a Procedure,
        hand_in: &'a HandIn,
        bottle: usize,
    ) -> Case<'a> {
        Case {
            procedure,
            hand_in,
            revision: 1,
            lots: &self.lots,
            default_lots: &self.default_lots,
            carried: None,
            line: None,
            unknowns: &self.unknowns,
            issued: self.code(AuditKind::Unknown, bottle),
            submitted_at: None,
            due: None,
            by_hand: None,
            class: ClassEvidence::ALONE,
            settlement: &self.settlement,
        }
    }
}

/// What a bottle holds that gives a share of the burette or of another scale: from the least to the most of `scale` by
/// `place`, 0 to 1. Where the titrant is asked for, its molarity, within a twentieth of the label.
pub fn content(
    procedure: &Procedure,
    bench: &Bench,
    (least, most): (f64, f64),
    place: f64,
) -> Option<f64> {
    if procedure.is_standardisation() {
        let label = as_f64(procedure.titrant()?.nominal);
        return Some(label * (0.95 + 0.1 * place));
    }
    let signal = Signal::of(procedure).at(least + (most - least) * place);
    result_at(procedure, bench, signal).filter(|result| *result > 0.0)
}

/// A value with an uncertainty in proportion.
fn assigned(value: Decimal, relative: f64) -> Option<Assigned> {
    let standard_uncertainty = value.abs().checked_mul(from_f64(relative, 6)?)?;
    Some(Assigned {
        value,
        standard_uncertainty,
    })
}
