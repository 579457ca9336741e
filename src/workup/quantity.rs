//! What a step holds: its role, what it is about, and the row it belongs to. Words and symbol are put together only when
//! somebody reads them.
#![deny(clippy::wildcard_enum_match_arm)]

use std::fmt;
use std::sync::Arc;

use rust_decimal::Decimal;

use super::role::{Own, Role, subscript};
use crate::ids::LotCode;
use crate::language::{Message, message};
use crate::truth::Lot;

#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Quantity {
    pub role: Role,
    /// The row it belongs to.
    pub of: Of,
    /// What a person read it off, if anybody did.
    pub read: Option<Instrument>,
    species: Option<Arc<str>>,
    /// The second species of a ratio.
    per: Option<Arc<str>>,
    detail: Option<Detail>,
    /// Which filling of the burette, from 1; 0 where there is only one.
    filling: usize,
    /// Which point of a curve, from 1; 0 of what belongs to none.
    point: usize,
}

/// Which row of the readings a step belongs to.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Of {
    /// None: trials share it.
    All,
    Trial(u32),
    /// The rough trial, kept apart.
    Rough,
    /// A blank, counted from 1.
    Blank(usize),
    /// A standard of a calibration line, counted from 1.
    Standard(u32),
}

/// What a reading is read off, which says how it may be misread.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Instrument {
    Burette,
    Graduated,
    Balance,
    /// What is displayed and not estimated.
    Display,
}

/// What tells quantities of one role apart, or says how one is come by.
#[derive(Clone, Debug, PartialEq, Eq)]
enum Detail {
    Lot(LotCode),
    /// Found in the experiment of that key.
    Standardisation(LotCode),
    /// The piece of glassware, as it is called.
    Piece(Message),
    Celsius(Decimal),
}

impl Quantity {
    /// A quantity that trials share.
    pub fn new(role: Role) -> Self {
        Self {
            role,
            of: Of::All,
            read: None,
            species: None,
            per: None,
            detail: None,
            filling: 0,
            point: 0,
        }
    }

    /// About a species: “amount of ”, Ca^2+, “ titrated”.
    pub fn about(mut self, species: Arc<str>) -> Self {
        self.species = Some(species);
        self
    }

    pub fn per(mut self, species: Arc<str>) -> Self {
        self.per = Some(species);
        self
    }

    pub fn of(mut self, of: Of) -> Self {
        self.of = of;
        self
    }

    pub fn from_lot(mut self, lot: &Lot) -> Self {
        let code = lot.code.clone();
        self.detail = Some(match lot.standardised {
            None => Detail::Lot(code),
            Some(_) => Detail::Standardisation(code),
        });
        self
    }

    /// Measured with a piece of that name.
    pub fn with(mut self, piece: Message) -> Self {
        self.detail = Some(Detail::Piece(piece));
        self
    }

    pub fn at(mut self, celsius: Decimal) -> Self {
        self.detail = Some(Detail::Celsius(celsius));
        self
    }

    /// Of that filling of the burette, from 1.
    pub fn filling(mut self, filling: usize) -> Self {
        self.filling = filling;
        self
    }

    /// Of that point of a curve, from 1.
    pub fn point(mut self, point: usize) -> Self {
        self.point = point;
        self
    }

    pub fn read(mut self, instrument: Instrument) -> Self {
        self.read = Some(instrument);
        self
    }

    pub(super) fn is_same_point(&self, other: &Self) -> bool {
        (self.role, self.of, self.point) == (other.role, other.of, other.point)
    }

    /// The first species it is about.
    pub fn species(&self) -> Option<&str> {
        self.species.as_deref()
    }

    /// In English words, such as “delivered volume, trial 2”.
    pub fn label(&self) -> String {
        self.named().to_string()
    }

    /// In words with the row it belongs to, its species as they are typed.
    pub fn named(&self) -> Message {
        self.words(str::to_owned, true)
    }

    /// In words, with species as `written` puts them, with or without the row it belongs to.
    pub(super) fn words(&self, written: impl Fn(&str) -> String, with_row: bool) -> Message {
        let mut words = self.role.written().words;
        if let Some(species) = &self.species {
            words = words.with("species", written(species));
        }
        if let Some(species) = &self.per {
            words = words.with("per", written(species));
        }
        let parts = [
            self.detail.as_ref().map(Detail::words),
            (with_row && self.of != Of::All).then(|| self.of.words()),
            (self.filling > 0).then(|| message!("step.filling", n = self.filling)),
            (self.point > 0).then(|| message!("step.point", n = self.point)),
        ];
        let parts = parts.into_iter().flatten();
        parts.fold(words, |words, part| {
            message!("step.with", words = words, part = part)
        })
    }

    /// As a symbol, such as `V₂`.
    pub fn symbol(&self) -> String {
        let words = self.role.written();
        let mut text = words.symbol.into_owned();
        if let (Some(species), true) = (&self.species, words.of_species) {
            text.push_str(&format!("({species})"));
        }
        text.push_str(&self.of.tag());
        if self.point > 0 {
            text.push_str(&format!(",{}", subscript(&self.point.to_string())));
        }
        text.push_str(words.mark);
        text.push_str(&"\u{2032}".repeat(self.filling.saturating_sub(1)));
        text
    }
}

impl From<Role> for Quantity {
    fn from(role: Role) -> Self {
        Self::new(role)
    }
}

impl From<Own> for Quantity {
    fn from(own: Own) -> Self {
        Self::new(Role::Own(own))
    }
}

impl From<(&'static str, &'static str)> for Quantity {
    fn from((words, symbol): (&'static str, &'static str)) -> Self {
        Own::new(words, symbol).into()
    }
}

impl Of {
    /// Whether it is a numbered trial's.
    pub fn is_trial(self) -> bool {
        matches!(self, Self::Trial(_))
    }

    /// In words, such as “trial 2”.
    pub fn words(self) -> Message {
        match self {
            Self::All => message!("step.of-all"),
            Self::Trial(n) => message!("step.of-trial", n = n),
            Self::Rough => message!("step.of-rough"),
            Self::Blank(1) => message!("step.of-blank"),
            Self::Blank(n) => message!("step.of-blank-numbered", n = n),
            Self::Standard(n) => message!("step.of-standard", n = n),
        }
    }

    /// The words of a key with the row after them.
    pub fn after(self, words: &'static str) -> Message {
        let words = Message::new(words);
        message!("step.with", words = words, part = self.words())
    }

    /// As it stands in a symbol: a subscript.
    fn tag(self) -> String {
        match self {
            Self::All => String::new(),
            Self::Trial(n) => subscript(&n.to_string()),
            Self::Rough => "r".into(),
            Self::Blank(n) => format!("b{}", subscript(&n.to_string())),
            Self::Standard(n) => format!("s{}", subscript(&n.to_string())),
        }
    }
}

/// In English.
impl fmt::Display for Of {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.words().fmt(f)
    }
}

impl Detail {
    fn words(&self) -> Message {
        match self {
            Self::Lot(code) => message!("step.lot", code = code.to_string()),
            Self::Standardisation(key) => message!("step.found-in", key = key.to_string()),
            Self::Piece(piece) => piece.clone(),
            Self::Celsius(celsius) => message!("step.celsius", celsius = *celsius),
        }
    }
}
