//! Changes to a term: the one way it is altered, in memory and on disk alike. A kind of change is one file here, and one
//! line in the list below.

#![deny(clippy::wildcard_enum_match_arm)]

mod form;
mod of_slot;
mod reach;
mod replaced;

use std::collections::BTreeMap;

use serde::Serialize;
use serde::de::DeserializeOwned;

use crate::ids::StudentId;
use crate::measure::GlasswareTable;
use crate::procedure::Procedure;
use crate::term::{ExperimentSource, Slot, Term};
use crate::text::{Fault, Known, RecordFile};
use of_slot::records;
use replaced::{nothing, written};

pub use form::*;
pub use of_slot::{OfSlot, SlotKind};
pub use reach::{Reach, Within};
pub use replaced::{GivenValue, Replaced, SlotEvent};

/// What a kind of change has to say of itself. The struct is what the journal keeps of it.
pub trait ChangeKind: Clone + Serialize + DeserializeOwned {
    /// The word of the journal.
    const NAME: &'static str;

    /// Its file in the course folder, and what a term has for it in the order of the file; none where it has no file of
    /// its own with a row to a change.
    const FILE: Option<fn() -> RecordsOf<Self>> = None;

    /// What it puts in place of what in a term, for people who look before they change it.
    const REPLACED: fn(&Self, &Term) -> Vec<Replaced> = nothing;

    /// What it is about, for logs: ids only.
    fn subject(&self) -> String;

    /// Shows every student’s id in it: outside the table of people a student is known by an opaque key.
    fn students(&mut self, visit: &mut dyn FnMut(&mut StudentId));

    /// The student whose names it holds: the journal keeps a commitment to them and not the names.
    fn person(&mut self) -> Option<&mut Student> {
        None
    }

    /// The value it gives to a bottle; none, of what gives none.
    fn given_value(&self) -> Option<GivenValue<'_>> {
        None
    }

    /// What became of a submission by changes of this kind; nothing, of what is about no submission.
    fn events(_: &Term, _: &Slot) -> Vec<SlotEvent> {
        Vec::new()
    }

    /// Makes from texts what is not kept itself, as the term is just before this change.
    fn revive(&mut self, _term: &Term, _texts: &dyn Texts) -> Result<(), String> {
        Ok(())
    }

    /// Alters the term, now and whenever the journal is read again. `made` is none where it is only tried.
    fn apply(&self, term: &mut Term, made: Option<&Made>);

    /// What has to be judged anew, of a term as it is before.
    fn reach(&self, before: &Term) -> Reach;

    /// What an incoming term has of this kind that the term held has not, or has otherwise. Nothing is taken away. Nothing
    /// either, of what no folder of a course holds.
    fn fresh(_held: &Term, _incoming: &Term) -> Vec<Self> {
        Vec::new()
    }
}

/// A file, and what of a term stands in it.
pub type RecordsOf<K> = (RecordFile<K>, fn(&Term) -> Vec<K>);

/// Where a change stands in the journal.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Made {
    /// Its number, which is that of the receipt of a hand-in.
    pub seq: i64,
    pub at: jiff::Timestamp,
    /// Login of who made it.
    pub by: String,
}

/// Reads the texts that are kept as they were written. Their formats are not the business of changes.
pub trait Texts: Sync {
    /// The shipped glassware and, if the course has its own, that.
    fn glassware(&self, own: Option<&str>) -> Result<GlasswareTable, String>;

    /// A procedure with the tables an experiment replaces.
    fn procedure(
        &self,
        text: &str,
        source: &ExperimentSource,
        glassware: &GlasswareTable,
    ) -> Result<Procedure, String>;
}

macro_rules! changes {
    ($($variant:ident($kind:ident) in $file:ident $(with $($more:ident),+)?;)*) => {
        $(
            mod $file;
            pub use $file::{$kind $(, $($more),+)?};

            impl From<$kind> for Change {
                fn from(kind: $kind) -> Self {
                    Self::$variant(kind)
                }
            }

            /// The change itself back where it is another.
            impl TryFrom<Change> for $kind {
                type Error = Change;

                fn try_from(change: Change) -> Result<Self, Change> {
                    let Change::$variant(kind) = change else {
                        return Err(change);
                    };
                    Ok(kind)
                }
            }
        )*

        /// One alteration of a term.
        #[derive(Clone, Debug)]
        pub enum Change {
            $($variant($kind),)*
        }

        impl Change {
            /// The journal's word for it.
            pub fn kind(&self) -> &'static str {
                match self {
                    $(Self::$variant(_) => $kind::NAME,)*
                }
            }

            /// What the journal keeps of it.
            pub fn body(&self) -> Result<serde_json::Value, String> {
                match self {
                    $(Self::$variant(kind) => serde_json::to_value(kind),)*
                }
                .map_err(|why| why.to_string())
            }

            /// The change of a row of the journal.
            pub fn decode(kind: &str, body: serde_json::Value) -> Result<Self, String> {
                match kind {
                    $($kind::NAME => serde_json::from_value(body).map(Self::$variant),)*
                    other => return Err(format!("found \u{201c}{other}\u{201d}, expected a kind of change")),
                }
                .map_err(|why| why.to_string())
            }

            /// The files of a course folder that hold changes row by row.
            pub fn files() -> Vec<&'static str> {
                let files = [$($kind::FILE.map(|file| file().0.name),)*];
                files.into_iter().flatten().collect()
            }

            /// The changes of a file, by its name.
            pub fn read_file(
                name: &str,
                bytes: &[u8],
                known: &Known,
                faults: &mut Vec<Fault>,
            ) -> Vec<Self> {
                $(
                    if let Some((file, _)) = $kind::FILE.map(|file| file())
                        && file.name == name
                    {
                        let rows = file.read(bytes, known, faults);
                        return rows.into_iter().map(Self::$variant).collect();
                    }
                )*
                Vec::new()
            }

            /// As [`ChangeKind::subject`].
            pub fn subject(&self) -> String {
                match self {
                    $(Self::$variant(kind) => kind.subject(),)*
                }
            }

            /// As [`ChangeKind::REPLACED`].
            pub fn replaced(&self, term: &Term) -> Vec<Replaced> {
                match self {
                    $(Self::$variant(kind) => $kind::REPLACED(kind, term),)*
                }
            }

            /// As [`ChangeKind::given_value`].
            pub fn given_value(&self) -> Option<GivenValue<'_>> {
                match self {
                    $(Self::$variant(kind) => kind.given_value(),)*
                }
            }

            /// As [`ChangeKind::students`].
            pub fn students(&mut self, visit: &mut dyn FnMut(&mut StudentId)) {
                match self {
                    $(Self::$variant(kind) => kind.students(visit),)*
                }
            }

            /// As [`ChangeKind::person`].
            pub fn person(&mut self) -> Option<&mut Student> {
                match self {
                    $(Self::$variant(kind) => kind.person(),)*
                }
            }

            /// As [`ChangeKind::revive`].
            pub fn revive(&mut self, term: &Term, texts: &dyn Texts) -> Result<(), String> {
                match self {
                    $(Self::$variant(kind) => kind.revive(term, texts),)*
                }
            }

            /// As [`ChangeKind::reach`].
            pub fn reach(&self, before: &Term) -> Reach {
                match self {
                    $(Self::$variant(kind) => kind.reach(before),)*
                }
            }
        }

        impl Term {
            /// Applies a change, which stands in the journal or is only tried.
            pub fn apply(&mut self, change: &Change, made: Option<&Made>) {
                match change {
                    $(Change::$variant(kind) => kind.apply(self, made),)*
                }
            }

            /// What became of a submission, in order of time.
            pub fn events(&self, slot: &Slot) -> Vec<SlotEvent> {
                let mut events = Vec::new();
                $(events.extend($kind::events(self, slot));)*
                events.sort_by_key(|event| event.at);
                events
            }

            /// The files of the course folder that hold changes row by row.
            pub fn record_files(&self) -> Vec<(&'static str, String)> {
                let mut files = Vec::new();
                $(
                    if let Some((file, all)) = $kind::FILE.map(|file| file()) {
                        let all = all(self);
                        if !all.is_empty() {
                            files.push((file.name, file.write(&all)));
                        }
                    }
                )*
                files
            }

            /// The changes that bring everything of `incoming` into this term: what is new, what differs, and hand-ins
            /// not yet held. Nothing is taken away, so bringing the same in twice changes nothing.
            pub fn changes_from(&self, incoming: &Self) -> Vec<Change> {
                let mut changes = Vec::new();
                $(changes.extend($kind::fresh(self, incoming).into_iter().map(Change::$variant));)*
                changes
            }
        }
    };
}

// in the order in which they are brought in: what others rest on comes first
changes! {
    Course(Course) in course;
    Glassware(OwnGlassware) in glassware;
    Procedure(SetProcedure) in procedure;
    Student(Student) in student with StudentForm, roster, staff_among;
    Staff(StaffMember) in staff with StaffForm;
    RemoveStaff(RemoveStaff) in remove_staff with RemoveStaffForm;
    OwnColumn(OwnColumn) in own_column;
    Exchanged(Exchanged) in exchanged with exchanged_file;
    Experiment(SetExperiment) in experiment;
    Lot(LotValue) in lot;
    Unknown(UnknownValue) in unknown;
    ShelfLife(Keep) in shelf_life with BottleDays, day_fields, days_as, held_days, read_days;
    Proving(ProvingTrial) in proving with ProvingForm, Proves, is_read, row_title;
    Issue(Issue) in issue with IssueForm, Issued, deal;
    Reissue(Replace) in reissue with ReissueForm;
    Group(JoinGroup) in group with Group;
    HandIn(HandInMade) in hand_in with HandedIn;
    SetAside(SetAside) in set_aside with UnreadRow;
    ByHand(GivePoints) in by_hand with PointsByHand;
    Decide(Decide) in decision;
    Note(LeaveNote) in note;
    Extend(Extend) in extension with ExtensionForm;
    Release(SetRelease) in release with ReleaseForm, open_reviews;
    Amend(Amendment) in amendment;
    KeyOpened(KeyOpened) in key_opened;
    Recomputed(Recomputed) in recomputed;
    Retired(Retired) in retired;
    Restored(Restored) in restored;
    Standing(SetStanding) in standing;
    EarlierTerms(SetEarlierTerms) in earlier_terms;
    OnePerson(SetOnePerson) in one_person with Bond;
}

/// The version after one: 1 for the first.
pub fn next_version(old: Option<u32>) -> u32 {
    old.map_or(1, |version| version.saturating_add(1))
}

/// Replaces the item of the same key, or adds it at the end.
fn put<T: Clone, K: PartialEq + ?Sized>(items: &mut Vec<T>, item: &T, key: impl Fn(&T) -> &K) {
    match items.iter_mut().find(|known| key(known) == key(item)) {
        Some(known) => known.clone_from(item),
        None => items.push(item.clone()),
    }
}

/// Entries of `incoming` that `held` lacks or has otherwise.
fn newer<'a, K: Ord, V: PartialEq>(
    held: &'a BTreeMap<K, V>,
    incoming: &'a BTreeMap<K, V>,
) -> impl Iterator<Item = (&'a K, &'a V)> {
    let entries = incoming.iter();
    entries.filter(|(key, value)| held.get(key) != Some(value))
}
