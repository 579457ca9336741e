//! Glassware and balances: what they hold, how finely they are read, how far they may be off.

use std::collections::BTreeMap;

use crate::language::{Message, message};
use crate::words::named;
use rust_decimal::Decimal;

/// A piece of graduated or single-mark glassware, or a balance.
#[derive(Clone, Debug, PartialEq)]
pub struct Glassware {
    key: String,
    kind: GlasswareKind,
    class: Option<Class>,
    capacity: Decimal,
    graduation: Option<Decimal>,
    tolerance: Decimal,
    standard: String,
}

/// What a piece is, and so how it is used.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GlasswareKind {
    /// Reads downward from 0 at the top; delivers the difference of two readings. Millilitres.
    Burette,
    /// Displays what it has delivered; delivers the difference of two readings. Millilitres.
    PistonBurette,
    /// Graduated; one reading, upward. Millilitres.
    Cylinder,
    /// Graduated; one reading of what it delivers. Millilitres.
    GraduatedPipette,
    /// Single mark; not read, delivers its nominal volume. Millilitres.
    Pipette,
    /// Set to one volume; not read, delivers it. Millilitres.
    Dispenser,
    /// Single mark; not read, contains its nominal volume. Millilitres.
    Flask,
    /// Read as displayed. Grams.
    Balance,
    /// Read as displayed. Absorbance, a number without unit.
    Spectrophotometer,
    /// Read as displayed. pH, a number without unit.
    PhMeter,
    /// Read as displayed. Millivolts, which may be negative.
    Millivoltmeter,
    /// Read as displayed. Millisiemens.
    ConductanceMeter,
}

/// Accuracy class of volumetric glassware; B has twice the tolerance of A (ISO 384, ASTM E287).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Class {
    A,
    /// The lower class.
    B,
}

/// Why a piece of glassware cannot be as described.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum GlasswareFault {
    /// A size, interval or tolerance that is not above zero.
    #[error("`{field}`: found {found}, expected a number above 0")]
    NotPositive {
        /// The key in the description.
        field: &'static str,
        found: Decimal,
    },
    /// A graduated piece without its interval, or a single-mark piece with one.
    #[error("`graduation`: found {found}, expected {expected} for a {kind}")]
    Graduation {
        /// `an interval` or `none`.
        found: &'static str,
        expected: &'static str,
        /// The kind of piece.
        kind: &'static str,
    },
    /// An interval that does not fit into the size.
    #[error("`graduation`: found {found}, expected at most the capacity {capacity}")]
    GraduationTooWide { found: Decimal, capacity: Decimal },
}

named! { GlasswareKind, name, from_name:
    Burette = "burette",
    PistonBurette = "piston-burette",
    Cylinder = "cylinder",
    GraduatedPipette = "graduated-pipette",
    Pipette = "pipette",
    Dispenser = "dispenser",
    Flask = "flask",
    Balance = "balance",
    Spectrophotometer = "spectrophotometer",
    PhMeter = "ph-meter",
    Millivoltmeter = "millivoltmeter",
    ConductanceMeter = "conductance-meter",
}

impl GlasswareKind {
    /// Whether a person reads a number off it.
    pub fn is_read(self) -> bool {
        !matches!(self, Self::Pipette | Self::Dispenser | Self::Flask)
    }

    /// Whether it displays its reading, so that nothing is estimated past the last digit.
    pub fn is_displayed(self) -> bool {
        matches!(
            self,
            Self::Balance | Self::Spectrophotometer | Self::PistonBurette
        ) || self.is_meter()
    }

    /// Whether it shows what a titrant does to a solution.
    pub fn is_meter(self) -> bool {
        matches!(
            self,
            Self::PhMeter | Self::Millivoltmeter | Self::ConductanceMeter
        )
    }

    /// Whether a titrant is delivered from it.
    pub fn is_burette(self) -> bool {
        matches!(self, Self::Burette | Self::PistonBurette)
    }

    /// The unit of its readings, capacity and tolerance; empty for absorbance and pH.
    pub fn unit(self) -> &'static str {
        match self {
            Self::Balance => "g",
            Self::Spectrophotometer | Self::PhMeter => "",
            Self::Millivoltmeter => "mV",
            Self::ConductanceMeter => "mS",
            Self::Burette
            | Self::PistonBurette
            | Self::Cylinder
            | Self::GraduatedPipette
            | Self::Pipette
            | Self::Dispenser
            | Self::Flask => "mL",
        }
    }
}

impl Glassware {
    /// Describes a piece. `graduation` is the interval between marks (a balance's readability), none for a single mark.
    /// Capacity, graduation and tolerance are in millilitres, for a balance in grams.
    pub fn new(
        key: &str,
        kind: GlasswareKind,
        class: Option<Class>,
        capacity: Decimal,
        graduation: Option<Decimal>,
        tolerance: Decimal,
        standard: &str,
    ) -> Result<Self, GlasswareFault> {
        for (field, found) in [
            ("capacity", Some(capacity)),
            ("graduation", graduation),
            ("tolerance", Some(tolerance)),
        ] {
            if let Some(found) = found.filter(|number| *number <= Decimal::ZERO) {
                return Err(GlasswareFault::NotPositive { field, found });
            }
        }
        let (found, expected) = ("an interval", "none");
        match (kind.is_read(), graduation) {
            (true, None) => {
                return Err(GlasswareFault::Graduation {
                    found: expected,
                    expected: found,
                    kind: kind.name(),
                });
            }
            (false, Some(_)) => {
                return Err(GlasswareFault::Graduation {
                    found,
                    expected,
                    kind: kind.name(),
                });
            }
            (true, Some(found)) if found > capacity => {
                return Err(GlasswareFault::GraduationTooWide { found, capacity });
            }
            _ => {}
        }
        Ok(Self {
            key: key.to_owned(),
            kind,
            class,
            capacity: capacity.normalize(),
            graduation: graduation.map(|g| g.normalize()),
            tolerance: tolerance.normalize(),
            standard: standard.to_owned(),
        })
    }

    /// The name used in procedures: kind, size in mL or readability, class.
    pub fn key(&self) -> &str {
        &self.key
    }

    pub fn kind(&self) -> GlasswareKind {
        self.kind
    }

    /// Its accuracy class, if it has one.
    pub fn class(&self) -> Option<Class> {
        self.class
    }

    /// Nominal volume in mL; a balance's largest load in g.
    pub fn capacity(&self) -> Decimal {
        self.capacity
    }

    /// Half-width ±a of the tolerance, mL; a balance's linearity, g.
    pub fn tolerance(&self) -> Decimal {
        self.tolerance
    }

    /// Where the tolerance comes from.
    pub fn standard(&self) -> &str {
        &self.standard
    }

    /// Interval between the finest marks, mL; a balance's readability, g; none for a single mark.
    pub fn graduation(&self) -> Option<Decimal> {
        self.graduation
    }

    /// The finest step that is read: a tenth of the graduation interval (common practice: one estimated digit past
    /// the finest mark); a balance or spectrophotometer is read as displayed.
    pub fn readable_step(&self) -> Option<Decimal> {
        let graduation = self.graduation?;
        if self.kind.is_displayed() {
            Some(graduation)
        } else {
            graduation
                .checked_mul(Decimal::new(1, 1))
                .map(|step| step.normalize())
        }
    }

    /// Whether a reading can be taken there: up to the end of the scale; of a cylinder short of one more interval, since
    /// liquid a little above its last mark can still be estimated. mL, for a balance g.
    pub fn is_on_scale(&self, value: Decimal) -> bool {
        let beyond = match (self.kind, self.graduation) {
            (GlasswareKind::Cylinder, Some(interval)) => self.capacity.checked_add(interval),
            _ => None,
        };
        value.abs() <= self.capacity || beyond.is_some_and(|beyond| value < beyond)
    }

    /// How many decimals a reading of it has: those of the readable step.
    pub fn decimals(&self) -> Option<u32> {
        self.readable_step().map(|step| step.scale())
    }

    /// A name for people, such as “50 mL burette, class B”.
    pub fn title(&self) -> String {
        self.words().to_string()
    }

    /// The same in no language yet.
    pub fn words(&self) -> Message {
        let size = self.size();
        match self.class {
            Some(Class::A) => message!("glassware.class-a", piece = size),
            Some(Class::B) => message!("glassware.class-b", piece = size),
            None => size,
        }
    }

    /// The same without its class, such as “50 mL burette”.
    pub fn size(&self) -> Message {
        let to = |key: &'static str, readability: Decimal| {
            Message::new(key).with("readability", readability)
        };
        match (self.kind, self.graduation) {
            (GlasswareKind::Balance, Some(least)) => to("glassware.balance-to", least),
            (GlasswareKind::Spectrophotometer, Some(least)) => {
                to("glassware.spectrophotometer-to", least)
            }
            (GlasswareKind::PhMeter, Some(least)) => to("glassware.ph-meter-to", least),
            (GlasswareKind::Millivoltmeter, Some(least)) => {
                to("glassware.millivoltmeter-to", least)
            }
            (GlasswareKind::ConductanceMeter, Some(least)) => {
                to("glassware.conductance-meter-to", least)
            }
            _ => {
                let kind = Message::new(format!("glassware.kind.{}", self.kind.name()));
                message!("glassware.of-size", capacity = self.capacity, kind = kind)
            }
        }
    }
}

/// The pieces a laboratory has, by key.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct GlasswareTable(BTreeMap<String, Glassware>);

impl GlasswareTable {
    /// The piece of that key.
    pub fn get(&self, key: &str) -> Option<&Glassware> {
        self.0.get(key)
    }

    /// Adds a piece; one of the same key is replaced, so a laboratory's own table comes after the shipped one.
    pub fn insert(&mut self, piece: Glassware) {
        self.0.insert(piece.key.clone(), piece);
    }

    /// All pieces in order of key.
    pub fn iter(&self) -> impl Iterator<Item = &Glassware> {
        self.0.values()
    }
}
