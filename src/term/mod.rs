//! A whole course in memory: what a folder holds, what a database holds, what evaluation needs.
//!
//! Folder and database are two ways of keeping a [`Term`]; each reads and writes the whole of it, so that one
//! exported and imported again is the same.

mod arrangements;
mod audit;
mod book;
mod by_slot;
mod carried;
mod class;
mod copy;
mod copy_on_write;
mod corrections;
mod earlier;
mod gather;
mod judging;
mod learned;
mod live;
mod lot_chart;
mod notes;
mod order;
mod peers;
mod preview;
mod proving;
mod roster;
mod sections;
mod told;
mod usual_lots;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::sync::Arc;

use jiff::Timestamp;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::changes::{Exchanged, ProvingTrial, UnreadRow};
use crate::course::{Course, Experiment, StaffMember, Standing, Student};
use crate::ids::{CourseKey, ExperimentKey, LotCode, StudentId, UnknownCode};
use crate::judge::{Evaluation, Settlement};
use crate::measure::GlasswareTable;
use crate::submission::HandIn;
use crate::truth::{Bottle, Lot, ShelfLife, Unknown};
use crate::words::named;

pub use arrangements::{Amended, Amendment, Extension, Reissue, Release};
pub use audit::{AssignedValue, ExperimentAudit, Found};
pub use book::ClassBook;
pub use by_slot::{BySlot, Entries};
pub use class::{ClassNumber, ClassView, FEWEST_OTHERS};
pub use copy::CopyPlan;
pub use copy_on_write::CopyOnWrite;
pub use corrections::{Corrected, Correction, corrections};
pub use earlier::{EarlierHandIn, EarlierTerms, SharedEarlier};
pub use live::SentReadings;
pub use lot_chart::SectionFinding;
pub use notes::{LONGEST_NOTE, Note, Side, note_text};
pub use order::plain_letters;
pub use preview::{Altered, Preview};
pub use proving::ProvedRun;
pub use roster::Roster;
pub use sections::{Beside, Contrast, Habit, Measure, Share, Teaching};
pub use told::Told;

/// Everything a course holds but accounts and sessions.
#[derive(Clone, Debug)]
pub struct Term {
    pub course: Course,
    /// Glassware of the course: shipped, then its own.
    pub glassware: CopyOnWrite<GlasswareTable>,
    /// In course order.
    pub experiments: CopyOnWrite<Vec<Experiment>>,
    /// In roster order.
    pub students: Roster,
    /// In the order of the file.
    pub staff: CopyOnWrite<Vec<StaffMember>>,
    pub lots: CopyOnWrite<BTreeMap<LotCode, Lot>>,
    /// By experiment, then code.
    pub unknowns: BTreeMap<ExperimentKey, CopyOnWrite<BTreeMap<UnknownCode, Unknown>>>,
    /// When lots and unknowns were made and expire, where that is said.
    pub shelf: CopyOnWrite<BTreeMap<Bottle, ShelfLife>>,
    /// Code of the unknown issued.
    pub issued: BySlot<UnknownCode>,
    /// Bench group: students of a group share one set of readings.
    pub groups: BySlot<String>,
    /// Revisions in order, the last one counts. Never empty.
    pub submissions: BySlot<Vec<Revision>>,
    /// What somebody's own files call a column, by the kind of file and what we call it.
    pub own_columns: BTreeMap<(String, String), String>,
    /// What the OneRoster exchange of the roster calls what is ours, by `Exchanged::key`.
    pub exchanged: CopyOnWrite<BTreeMap<String, Exchanged>>,
    /// Rows of files that could not be read, in order.
    pub set_aside: BySlot<Vec<UnreadRow>>,
    /// Points given by hand.
    pub by_hand: BySlot<Decimal>,
    /// Decisions in order.
    pub decisions: BySlot<Vec<Decision>>,
    /// Notes between a student and staff, oldest first.
    pub notes: BySlot<Vec<Note>>,
    /// When each experiment was released.
    pub released: BTreeMap<ExperimentKey, Release>,
    /// Other dates for single students, in order; the last one counts.
    pub extensions: BySlot<Vec<Extension>>,
    /// Bottles given in place of others, in order.
    pub reissued: BySlot<Vec<Reissue>>,
    /// Titrations by staff of bottles and lots, in the order in which they were begun.
    pub proving: BTreeMap<ExperimentKey, Vec<ProvingTrial>>,
    /// Texts that were replaced, in order.
    pub amendments: CopyOnWrite<Vec<Amendment>>,
    /// Courses of the department, where this is what a department keeps: in any other term there are none.
    pub courses: BTreeMap<CourseKey, Standing>,
    /// Which of them count as earlier terms of which, where whoever runs it has said so.
    pub earlier_terms: BTreeMap<CourseKey, BTreeSet<CourseKey>>,
    /// Students of a department who are on the staff of other courses of it, each with the one login of both.
    pub one_person: BTreeMap<StudentId, String>,
    /// What the files said, where it is not kept in the nouns above: written back as it was.
    pub sources: CopyOnWrite<Sources>,
}

/// A student's place in an experiment.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Slot {
    /// Key of the experiment.
    pub experiment: ExperimentKey,
    /// Id of the student.
    pub student: StudentId,
}

/// One hand-in as it was received.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Revision {
    /// What was handed in. Shared by the images that hold it.
    pub hand_in: Arc<HandIn>,
    /// When; none if a file does not say.
    pub submitted_at: Option<Timestamp>,
    /// Why it corrects the one before; empty for the first.
    pub reason: String,
    /// Number of its receipt, once it is on disk.
    #[serde(skip)]
    pub receipt: Option<i64>,
}

/// A decision of an assistant or coordinator.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Decision {
    #[serde(flatten)]
    pub ruling: Ruling,
    /// How many revisions there were: it settles those and not a later one.
    pub revision: u32,
    /// Why, or the note to the student.
    pub reason: String,
    /// Login of who decided.
    pub by: String,
    pub at: Timestamp,
}

/// What can be decided about a submission.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(tag = "ruling", rename_all = "kebab-case")]
pub enum Ruling {
    /// It stands as it is.
    #[default]
    Accept,
    /// Back to the student, with a note, to correct.
    Return,
    /// A trial does not count.
    LeaveOut { trial: u32 },
    /// A trial left out counts again.
    PutBack { trial: u32 },
    /// Points are added or taken off; replaces an earlier adjustment.
    Adjust {
        /// Points, negative to take off.
        points: Decimal,
    },
    /// Mark against the unknown written (true) or the one issued (false).
    AgainstWritten { written: bool },
    /// Lateness costs nothing (true) or costs again (false).
    ExcuseLate { excused: bool },
    /// The last decision that stood does not.
    TakeBack,
}

/// Texts of the files that are kept as they were written.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sources {
    /// The course's own glassware file.
    pub glassware: Option<String>,
    /// Procedure files by key, of every procedure the course uses.
    pub procedures: BTreeMap<String, String>,
    /// By experiment: the key of its procedure and the tables that replace the procedure's, as TOML text.
    pub experiments: BTreeMap<ExperimentKey, ExperimentSource>,
    /// Preparation records by lot code, as TOML text of one `[[lot]]`.
    pub lots: BTreeMap<LotCode, String>,
    /// Preparation records by experiment and code, as TOML text of one `[[unknown]]`.
    pub unknowns: BTreeMap<(ExperimentKey, UnknownCode), String>,
}

/// What `course.toml` says of an experiment beyond its dates.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct ExperimentSource {
    /// Key of the procedure.
    pub procedure: String,
    /// The `marking` table, if the experiment has its own.
    pub marking: Option<String>,
    /// The `trials` table, if the experiment has its own.
    pub trials: Option<String>,
    /// Students see what was in their bottles once results are out for everybody.
    pub show_truth: bool,
}

/// Where a submission stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Status {
    /// Nothing about it needs a person.
    Clear,
    /// A person should look at it.
    ToReview,
    /// With the student, to correct.
    Returned,
    /// A person has settled it.
    Settled,
}

/// A submission judged, with where it stands.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Judged {
    /// Shared by the images that hold it.
    pub evaluation: Arc<Evaluation>,
    pub status: Status,
}

impl Judged {
    fn of(evaluation: Evaluation, status: Status) -> Self {
        Self {
            evaluation: Arc::new(evaluation),
            status,
        }
    }
}

impl Slot {
    /// The place of a student in an experiment.
    pub fn new(experiment: &ExperimentKey, student: &StudentId) -> Self {
        Self {
            experiment: experiment.clone(),
            student: student.clone(),
        }
    }
}

impl fmt::Display for Slot {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.experiment, self.student)
    }
}

named! { Status, name:
    Clear = "clear",
    ToReview = "to-review",
    Returned = "returned",
    Settled = "settled",
}

impl Term {
    pub fn new(course: Course, glassware: impl Into<CopyOnWrite<GlasswareTable>>) -> Self {
        Self {
            course,
            glassware: glassware.into(),
            experiments: CopyOnWrite::default(),
            students: Roster::default(),
            staff: CopyOnWrite::default(),
            lots: CopyOnWrite::default(),
            unknowns: BTreeMap::new(),
            shelf: CopyOnWrite::default(),
            issued: BySlot::new(),
            groups: BySlot::new(),
            own_columns: BTreeMap::new(),
            exchanged: CopyOnWrite::default(),
            set_aside: BySlot::new(),
            submissions: BySlot::new(),
            by_hand: BySlot::new(),
            decisions: BySlot::new(),
            notes: BySlot::new(),
            released: BTreeMap::new(),
            extensions: BySlot::new(),
            reissued: BySlot::new(),
            proving: BTreeMap::new(),
            amendments: CopyOnWrite::default(),
            courses: BTreeMap::new(),
            earlier_terms: BTreeMap::new(),
            one_person: BTreeMap::new(),
            sources: CopyOnWrite::default(),
        }
    }

    /// The experiment of that key.
    pub fn experiment(&self, key: &str) -> Option<&Experiment> {
        self.experiments.iter().find(|e| e.key == key)
    }

    /// The student of that id.
    pub fn student(&self, id: &str) -> Option<&Student> {
        self.students.student(id)
    }

    /// The login of staff by which a student signs in, if whoever runs the department says that they have one.
    pub fn login_of_student(&self, number: &str) -> Option<&str> {
        let mut joined = self.one_person.iter();
        let own = joined.find(|(student, _)| **student == *number);
        own.map(|(_, login)| login.as_str())
    }

    /// The number by which a member of staff is a student of other courses, if whoever runs the department says so.
    pub fn number_of_staff(&self, login: &str) -> Option<&StudentId> {
        let mut joined = self.one_person.iter();
        let own = joined.find(|(_, own)| own.eq_ignore_ascii_case(login));
        own.map(|(student, _)| student)
    }

    /// Every student's place in every experiment, in course and roster order.
    pub fn slots(&self) -> impl Iterator<Item = Slot> + '_ {
        self.experiments.iter().flat_map(|experiment| {
            let students = self.students.iter();
            students.map(|student| Slot::new(&experiment.key, &student.id))
        })
    }

    /// Section names in order.
    pub fn sections(&self) -> Vec<&str> {
        let mut names: Vec<&str> = self.students.iter().map(|s| s.section.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        names
    }

    /// The members of a bench group.
    pub fn bench_group<'a>(
        &'a self,
        experiment: &'a ExperimentKey,
        group: &'a str,
    ) -> impl Iterator<Item = &'a Slot> {
        self.groups
            .of_experiment(experiment)
            .filter(move |(_, own)| *own == group)
            .map(|(slot, _)| slot)
    }

    /// Whose readings count for a student: their own, or those of a member of their bench group. An answer without
    /// readings is kept, but hands nothing in.
    pub fn handed_in_by(&self, slot: &Slot) -> Option<(&Slot, &[Revision])> {
        let with_readings = |slot: &Slot| {
            let (slot, revisions) = self.submissions.get_key_value(slot)?;
            let read = revisions
                .last()
                .is_some_and(|last| !last.hand_in.titrations.is_empty());
            // rows that nobody could read were handed in all the same
            let read = read || self.set_aside.contains_key(slot);
            read.then_some((slot, revisions.as_slice()))
        };
        let shared = || {
            let group = self.groups.get(slot)?;
            let mates = self.bench_group(&slot.experiment, group);
            mates.filter_map(with_readings).next()
        };
        with_readings(slot).or_else(shared)
    }

    /// What is judged for a student: the readings that count, with the student's own answer.
    pub fn hand_in_of(&self, slot: &Slot) -> Option<Arc<HandIn>> {
        let (reader, revisions) = self.handed_in_by(slot)?;
        let hand_in = &revisions.last()?.hand_in;
        if reader == slot {
            return Some(Arc::clone(hand_in));
        }
        let own = self.submissions.get(slot).and_then(|own| own.last());
        Some(Arc::new(HandIn {
            reported: own.and_then(|own| own.hand_in.reported.clone()),
            ..HandIn::clone(hand_in)
        }))
    }
}

/// Of decisions in order, those that stand: each one taken back takes the last before it away.
pub fn standing(decisions: &[Decision]) -> Vec<&Decision> {
    let mut standing = Vec::with_capacity(decisions.len());
    for decision in decisions {
        match decision.ruling {
            Ruling::TakeBack => {
                standing.pop();
            }
            _ => standing.push(decision),
        }
    }
    standing
}

/// What decisions add up to, in order, for a revision. A trial left out of an earlier revision is not left out of what
/// the student handed in since; everything else goes on counting.
pub fn settlement(decisions: &[Decision], revision: u32) -> Settlement {
    let mut sum = Settlement::default();
    for decision in standing(decisions) {
        match &decision.ruling {
            Ruling::LeaveOut { trial } if decision.revision >= revision => {
                sum.left_out.insert(*trial);
            }
            Ruling::PutBack { trial } => {
                sum.left_out.remove(trial);
            }
            Ruling::Accept | Ruling::Return | Ruling::LeaveOut { .. } | Ruling::TakeBack => {}
            Ruling::Adjust { points } => sum.adjustment = *points,
            Ruling::AgainstWritten { written } => sum.against_written = *written,
            Ruling::ExcuseLate { excused } => sum.late_excused = *excused,
        }
    }
    sum
}
