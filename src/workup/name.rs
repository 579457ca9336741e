//! What a step is called: in words and as a symbol, put together only when somebody reads it.

use std::borrow::Cow;
use std::fmt;
use std::sync::Arc;

/// Name and symbol of a step, and the titration it belongs to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Name {
    /// Words, a species, words, a species.
    before: Cow<'static, str>,
    species: Option<Arc<str>>,
    after: Cow<'static, str>,
    other: Option<Arc<str>>,
    symbol: Cow<'static, str>,
    /// After the subscript, such as a prime.
    mark: &'static str,
    /// Whether the symbol is a function of the species, such as `M(CaCO3)`.
    of_species: bool,
    of: Of,
    /// Which filling of the burette, from 1; 0 where there is only one.
    filling: usize,
    /// Whether a person read it off an instrument.
    read: bool,
}

/// Words by which steps are found again, to see what a slip would have made of them.
pub mod words {
    /// Burette at the start.
    pub const START: &str = "start reading";
    /// Burette at the end.
    pub const END: &str = "end reading";
    /// The same of a second portion.
    pub const SECOND_START: &str = "start reading, second titration";
    /// The same of a second portion.
    pub const SECOND_END: &str = "end reading, second titration";
    pub const DELIVERED: &str = "delivered volume";
    /// The same of a second portion.
    pub const SECOND_DELIVERED: &str = "delivered volume, second titration";
    /// Start of the words for a volume less its blank.
    pub const NET: &str = "volume less the blank";
    pub const BLANK: &str = "mean blank";
    /// A sample by volume.
    pub const SAMPLE_VOLUME: &str = "sample volume";
    /// A lot's molarity.
    pub const MOLARITY: &str = "molarity of ";
    /// A stoichiometric ratio, or one of composition.
    pub const RATIO: &str = "ratio of ";
    /// A molar mass.
    pub const MOLAR_MASS: &str = "molar mass of ";
    /// The flask a sample is made up in.
    pub const FLASK: &str = "flask volume";
    /// The pipette that takes a part of it.
    pub const ALIQUOT: &str = "aliquot volume";
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

impl Name {
    /// A name that trials share.
    pub fn new(words: impl Into<Cow<'static, str>>, symbol: impl Into<Cow<'static, str>>) -> Self {
        Self {
            before: words.into(),
            species: None,
            after: Cow::Borrowed(""),
            other: None,
            symbol: symbol.into(),
            mark: "",
            of_species: false,
            of: Of::All,
            filling: 0,
            read: false,
        }
    }

    /// A name with a species in it: “amount of ”, Ca^2+, “ titrated”.
    pub fn about(
        before: &'static str,
        species: Arc<str>,
        after: impl Into<Cow<'static, str>>,
        symbol: &'static str,
    ) -> Self {
        Self {
            species: Some(species),
            after: after.into(),
            ..Self::new(before, symbol)
        }
    }

    /// Ends on another species.
    pub fn and(mut self, other: Arc<str>) -> Self {
        self.other = Some(other);
        self
    }

    /// Says what it is measured with.
    pub fn with(mut self, piece: String) -> Self {
        self.after = format!(", {piece}").into();
        self
    }

    /// A mark after the symbol, such as a prime.
    pub fn mark(mut self, mark: &'static str) -> Self {
        self.mark = mark;
        self
    }

    /// Writes the species after the symbol: `c(HCl)`.
    pub fn of_species(mut self) -> Self {
        self.of_species = true;
        self
    }

    pub fn of(mut self, of: Of) -> Self {
        self.of = of;
        self
    }

    /// Of that filling of the burette, from 1.
    pub fn filling(mut self, filling: usize) -> Self {
        self.filling = filling;
        self
    }

    /// Read off an instrument.
    pub fn read(mut self) -> Self {
        self.read = true;
        self
    }

    /// Whether it was read off an instrument.
    pub fn is_read(&self) -> bool {
        self.read
    }

    /// The first species it names.
    pub fn species(&self) -> Option<&str> {
        self.species.as_deref()
    }

    /// The titration it belongs to.
    pub fn belongs_to(&self) -> Of {
        self.of
    }

    /// Whether it is a ratio.
    pub fn is_ratio(&self) -> bool {
        self.before.ends_with(words::RATIO)
    }

    /// Whether its words start so, up to the species if it has one.
    pub fn starts(&self, words: &str) -> bool {
        self.before == words
    }

    /// In words, such as “delivered volume, trial 2”.
    pub fn label(&self) -> String {
        self.in_words(str::to_owned, true)
    }

    /// In words, with species as `written` puts them, with or without the titration it belongs to.
    pub(super) fn in_words(
        &self,
        written: impl Fn(&str) -> String,
        with_titration: bool,
    ) -> String {
        let mut text = self.before.clone().into_owned();
        let species = |species: &Option<Arc<str>>| species.as_deref().map(&written);
        text.push_str(&species(&self.species).unwrap_or_default());
        text.push_str(&self.after);
        text.push_str(&species(&self.other).unwrap_or_default());
        if with_titration && self.of != Of::All {
            text.push_str(&format!(", {}", self.of));
        }
        if self.filling > 0 {
            text.push_str(&format!(", filling {}", self.filling));
        }
        text
    }

    /// As a symbol, such as `V₂`.
    pub fn symbol(&self) -> String {
        let mut text = self.symbol.clone().into_owned();
        if let (Some(species), true) = (&self.species, self.of_species) {
            text.push_str(&format!("({species})"));
        }
        text.push_str(&self.of.tag());
        text.push_str(self.mark);
        text.push_str(&"\u{2032}".repeat(self.filling.saturating_sub(1)));
        text
    }
}

impl From<(&'static str, &'static str)> for Name {
    fn from((words, symbol): (&'static str, &'static str)) -> Self {
        Self::new(words, symbol)
    }
}

impl Of {
    /// As it stands in a symbol: a subscript.
    fn tag(self) -> String {
        let digits = |number: &str| number.chars().filter_map(subscript).collect::<String>();
        match self {
            Self::All => String::new(),
            Self::Trial(n) => digits(&n.to_string()),
            Self::Rough => "r".into(),
            Self::Blank(n) => format!("b{}", digits(&n.to_string())),
            Self::Standard(n) => format!("s{}", digits(&n.to_string())),
        }
    }
}

impl fmt::Display for Of {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::All => f.write_str("all trials"),
            Self::Trial(n) => write!(f, "trial {n}"),
            Self::Rough => f.write_str("rough trial"),
            Self::Blank(1) => f.write_str("blank"),
            Self::Blank(n) => write!(f, "blank {n}"),
            Self::Standard(n) => write!(f, "standard {n}"),
        }
    }
}

fn subscript(digit: char) -> Option<char> {
    char::from_u32(0x2080_u32.checked_add(digit.to_digit(10)?)?)
}
