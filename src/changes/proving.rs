//! A titration by staff that puts a bottle or a lot to the test before students have it. It is nobody's hand-in and gives
//! no marks.

mod form;

use jiff::Timestamp;
use serde::{Deserialize, Serialize};

use super::{ChangeKind, Made, Reach, RecordsOf, Replaced};
use crate::columns::Column;
use crate::ids::{ExperimentKey, StudentId};
use crate::measure::Reading;
use crate::submission::{Readings, Titration, TrialLabel, spoiled_because};
use crate::term::Term;
use crate::text::{RecordColumn, RecordFile, column, found, instant, line_of_text, whole};
use crate::words::named;

pub use form::{ProvingForm, is_read};

/// One titration of a run, as far as it has come. Entered again, it takes the place of what was entered before.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ProvingTrial {
    pub experiment: ExperimentKey,
    /// Which run of the experiment, from 1.
    pub run: u32,
    pub proves: Proves,
    /// Which version of its value that had.
    pub version: u32,
    /// With the codes on the bottles; readings not taken yet are left out.
    pub titration: Titration,
    /// Login.
    pub by: String,
    pub at: Option<Timestamp>,
}

/// What a run puts to the test.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Proves {
    #[default]
    Unknown,
    Lot,
}

named! { Proves, name, from_name:
    Unknown = "unknown": "a bottle",
    Lot = "lot": "a lot",
}

/// Most runs of an experiment.
const MOST_RUNS: u32 = 999;

impl ProvingTrial {
    fn new() -> Self {
        Self {
            experiment: ExperimentKey::default(),
            run: 0,
            proves: Proves::default(),
            version: 1,
            titration: Titration::new(TrialLabel::Numbered(1)),
            by: String::new(),
            at: None,
        }
    }

    /// Whether it is the same titration of the same run.
    fn is_of(&self, other: &Self) -> bool {
        self.run == other.run && self.titration.trial == other.titration.trial
    }

    /// What was entered for it before.
    fn before<'t>(&self, term: &'t Term) -> Option<&'t Self> {
        let all = term.proving.get(&self.experiment)?;
        all.iter().find(|held| held.is_of(self))
    }

    fn written(&self) -> String {
        let readings = self.titration.readings.iter();
        let one =
            |(column, reading): (&Column, &Reading)| format!("{column}={}", reading.written());
        readings.map(one).collect::<Vec<_>>().join(" ")
    }
}

impl ChangeKind for ProvingTrial {
    const NAME: &'static str = "proving";
    const FILE: Option<fn() -> RecordsOf<Self>> = Some(file);
    const REPLACED: fn(&Self, &Term) -> Vec<Replaced> = readings;

    fn subject(&self) -> String {
        format!(
            "{}/run {}/{}",
            self.experiment, self.run, self.titration.trial
        )
    }

    fn students(&mut self, _: &mut dyn FnMut(&mut StudentId)) {}

    fn apply(&self, term: &mut Term, _: Option<&Made>) {
        let all = term.proving.entry(self.experiment.clone()).or_default();
        match all.iter_mut().find(|held| held.is_of(self)) {
            Some(held) => held.clone_from(self),
            None => all.push(self.clone()),
        }
    }

    fn reach(&self, _: &Term) -> Reach {
        Reach::Nothing
    }

    fn fresh(held: &Term, incoming: &Term) -> Vec<Self> {
        let all = incoming.proving.values().flatten();
        all.filter(|trial| trial.before(held) != Some(*trial))
            .cloned()
            .collect()
    }
}

fn readings(trial: &ProvingTrial, term: &Term) -> Vec<Replaced> {
    let name = format!(
        "Proving run {}, {}",
        trial.run,
        row_title(trial.titration.trial).to_lowercase()
    );
    let before = trial.before(term);
    let mut row = Replaced::plain(name, "as written", "", trial.written());
    row.before = before.map(|before| (before.written(), String::new()));
    vec![row]
}

/// `proving.csv`: a row to a trial, with its readings as `column=reading` apart by spaces.
fn file() -> RecordsOf<ProvingTrial> {
    let columns = vec![
        column!(ProvingTrial: "experiment", experiment, known experiment),
        column!(ProvingTrial: "run", run, |text: &str| whole(text, 1..=MOST_RUNS)),
        RecordColumn::new(
            "proves",
            |one: &mut ProvingTrial, text, _| {
                let proves = Proves::from_name(text);
                one.proves = proves.ok_or_else(|| found(text, "unknown or lot"))?;
                Ok(())
            },
            |one| one.proves.name().to_owned(),
        ),
        column!(ProvingTrial: "version", version, |text: &str| whole(text, 1..=u32::MAX))
            .optional(),
        column!(ProvingTrial: "trial", titration.trial, TrialLabel::parse),
        RecordColumn::new(
            "unknown",
            |one: &mut ProvingTrial, text, known| {
                let code = |text: &str| known.unknown(&one.experiment, text);
                one.titration.unknown = crate::text::if_any(text, code)?;
                Ok(())
            },
            |one| crate::text::or_empty(one.titration.unknown.as_ref()),
        )
        .after("experiment"),
        column!(ProvingTrial: "lot", titration.lot, any known lot),
        column!(ProvingTrial: "excess_lot", titration.excess_lot, any known lot)
            .if_used(|one| one.titration.excess_lot.is_some()),
        column!(ProvingTrial: "instrument", titration.instrument, any line_of_text)
            .if_used(|one| one.titration.instrument.is_some()),
        column!(ProvingTrial: "spoiled", titration.spoiled, any spoiled_because)
            .if_used(|one| one.titration.spoiled.is_some()),
        RecordColumn::new(
            "readings",
            |one: &mut ProvingTrial, text, _| {
                one.titration.readings = read_written(text)?;
                Ok(())
            },
            ProvingTrial::written,
        )
        .plain(),
        column!(ProvingTrial: "by", by, line_of_text),
        column!(ProvingTrial: "at", at, any instant),
    ];
    let file = RecordFile {
        name: "proving.csv",
        new: ProvingTrial::new,
        columns,
        once: &["experiment", "run", "trial"],
    };
    let all = |term: &Term| {
        let experiments = term.experiments.iter();
        let runs = experiments.filter_map(|one| term.proving.get(&one.key));
        runs.flatten().cloned().collect()
    };
    (file, all)
}

fn read_written(text: &str) -> Result<Readings, String> {
    let one = |pair: &str| {
        let read = pair.split_once('=').and_then(|(name, reading)| {
            let column = Column::from_name(name)?;
            Some((column, column.parse(reading).ok()?))
        });
        read.ok_or_else(|| {
            found(
                pair,
                "a column and its reading, such as burette_end_mL=23.45",
            )
        })
    };
    text.split_whitespace().map(one).collect()
}

/// What people call a titration.
pub fn row_title(trial: TrialLabel) -> String {
    match trial {
        TrialLabel::Numbered(n) => format!("Trial {n}"),
        TrialLabel::Rough => "Rough titration".into(),
        TrialLabel::Blank => "Blank".into(),
        TrialLabel::Standard(n) => format!("Standard {n}"),
    }
}
