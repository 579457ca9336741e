//! The rows that a rehearsal prints: what was made or looked at, how much of it was found, and the goal.

use std::collections::BTreeMap;

use super::copying::Copying;
use super::mistakes::Mistake;
use super::sections::{ACCUSING_LOT_PERCENT, BAD_BOTTLE_PERCENT, BAD_LOT_PERCENT, DECAY_PERCENT};
use crate::judge::FlagCode;

/// What is made in a simulated class, or looked at there.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Careful students with that slip in one trial, which moves its titre by more than the agreement allows, and those
    /// for whom the slip and the trial are named.
    InOneTrial(Mistake),
    /// Careful students without a slip, and those with one named.
    CleanSlip,
    /// Answers with that mistake, and those for which it is named.
    InTheSum(Mistake),
    /// The same, and those given the share of points for a single slip.
    ShareGiven(Mistake),
    /// Mistakes that can be told from everything else, and those named.
    ToldApart(Mistake),
    /// Careful students whose lot is off, and those accused.
    AccusedByLot,
    /// Careful students with all points for agreement, and those of them flagged for their scatter.
    ScatterAtFullPoints,
    /// Careful students, and those flagged for their scatter.
    ScatterHigh,
    /// Clean submissions, and those that wait for a person.
    Waiting,
    /// Copies of readings of another section.
    CopyAcross(Copying),
    /// Honest pairs with one bottle and lot, and those taken for copies.
    HonestPair,
    /// Students who invent every report of a term.
    Inventor,
    /// Students of that term who invent nothing, and those taken for inventors.
    HonestAsInventor,
    Bottle,
    /// Clean terms, and those in which a bottle is called off.
    SoundBottles,
    Decay,
    /// Terms without decay, and those in which it is named.
    NoDecay,
    /// Copies of readings of the same section.
    Copy(Copying),
    Lot,
    /// Groups of clean sections, and those that look off.
    Group,
    /// Clean sections, and the flags in them that chance alone raised.
    ChanceFlags,
    /// Clean submissions, and those with that flag.
    Flag(FlagCode),
}

/// So many made, and so many of them found.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    pub made: usize,
    pub found: usize,
}

/// What came of simulated students and sections.
pub type Counts = BTreeMap<Kind, Tally>;

/// What is asked of a row, in percent of what was made.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Goal {
    AtLeast(f64),
    AtMost(f64),
}

/// Adds what came of others.
pub fn add(sum: &mut Counts, more: &Counts) {
    for (kind, tally) in more {
        let to = sum.entry(*kind).or_default();
        to.made += tally.made;
        to.found += tally.found;
    }
}

pub(super) fn count(counts: &mut Counts, kind: Kind, is_found: bool) {
    let tally = counts.entry(kind).or_default();
    tally.made += 1;
    tally.found += usize::from(is_found);
}

impl Tally {
    /// None where nothing was made.
    pub fn percent(self) -> Option<f64> {
        (self.made > 0).then(|| 100.0 * self.found as f64 / self.made as f64)
    }
}

impl Goal {
    pub fn is_met(self, tally: Tally) -> bool {
        tally.percent().is_none_or(|percent| match self {
            Self::AtLeast(least) => percent >= least,
            Self::AtMost(most) => percent <= most,
        })
    }

    pub fn words(self) -> String {
        match self {
            Self::AtLeast(percent) => format!("at least {percent} %"),
            Self::AtMost(0.0) => "none".to_owned(),
            Self::AtMost(percent) => format!("at most {percent:.2} %"),
        }
    }
}

impl Kind {
    /// None for what is printed to be known.
    pub fn goal(self) -> Option<Goal> {
        match self {
            Self::InOneTrial(Mistake::ReadUpward | Mistake::TransposedDigits) => {
                Some(Goal::AtLeast(85.0))
            }
            Self::InOneTrial(_) | Self::InTheSum(_) | Self::ShareGiven(_) => {
                Some(Goal::AtLeast(95.0))
            }
            Self::ToldApart(_) => Some(Goal::AtLeast(90.0)),
            Self::CleanSlip | Self::AccusedByLot => Some(Goal::AtMost(0.3)),
            Self::ScatterAtFullPoints => Some(Goal::AtMost(0.0)),
            // half a flag in a section of 24
            Self::ScatterHigh => Some(Goal::AtMost(100.0 * 0.5 / 24.0)),
            Self::Waiting => Some(Goal::AtMost(12.0)),
            Self::Copy(Copying::Differences) => None,
            Self::CopyAcross(_) | Self::Copy(_) | Self::Inventor | Self::Decay => {
                Some(Goal::AtLeast(95.0))
            }
            Self::HonestPair | Self::HonestAsInventor => Some(Goal::AtMost(0.1)),
            Self::Bottle => Some(Goal::AtLeast(80.0)),
            Self::SoundBottles | Self::NoDecay => Some(Goal::AtMost(1.0)),
            Self::Lot | Self::Group | Self::ChanceFlags | Self::Flag(_) => None,
        }
    }

    pub fn words(self) -> String {
        match self {
            Self::InOneTrial(mistake) => {
                format!("{} in one trial of three: named", mistake.words())
            }
            Self::CleanSlip => "careful students without a slip: one named".into(),
            Self::InTheSum(mistake) => format!("{}: named", mistake.words()),
            Self::ShareGiven(mistake) => format!("{}: share of points given", mistake.words()),
            Self::ToldApart(mistake) => format!("{}, told apart: named", mistake.words()),
            Self::AccusedByLot => {
                format!("careful students with a lot {ACCUSING_LOT_PERCENT} % off: accused")
            }
            Self::ScatterAtFullPoints => {
                "careful students with all points for agreement: scatter-high".into()
            }
            Self::ScatterHigh => "careful students: scatter-high".into(),
            Self::Waiting => "submissions without a slip: need a person".into(),
            Self::CopyAcross(how) => format!("copied from another section, {}", how.words()),
            Self::HonestPair => "honest pairs with one bottle: taken for copies".into(),
            Self::Inventor => "students who invent the reports of a term".into(),
            Self::HonestAsInventor => "the others of that term: taken for them".into(),
            Self::Bottle => format!("bottles {BAD_BOTTLE_PERCENT} % off, three students: called"),
            Self::SoundBottles => "terms with sound bottles: one called".into(),
            Self::Decay => format!("lots that lose {DECAY_PERCENT} % in four days: drift named"),
            Self::NoDecay => "lots that lose nothing in four days: drift named".into(),
            Self::Copy(how) => format!("readings copied {}", how.words()),
            Self::Lot => format!("lots {BAD_LOT_PERCENT} % off, one section: named"),
            Self::Group => "groups of clean sections: look off".into(),
            Self::ChanceFlags => "sections, and flags by chance in them".into(),
            Self::Flag(code) => format!("submissions without a slip: flagged {}", code.code()),
        }
    }
}
