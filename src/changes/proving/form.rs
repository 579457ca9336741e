//! The form of a proving run: a titration as far as it has come, entered by whoever titrates.

use std::collections::BTreeSet;

use jiff::Timestamp;

use super::{MOST_RUNS, Proves, ProvingTrial, row_title};
use crate::changes::{Change, ChangeForm, Who, experiment};
use crate::chem::Formula;
use crate::columns::{Column, MAX_POINTS};
use crate::form::{Faults, Field, Form, Kind, Typed, named};
use crate::ids::{ExperimentKey, LotCode, UnknownCode};
use crate::judge::{refusals, row_label};
use crate::procedure::Procedure;
use crate::schemes::Scheme;
use crate::submission::{Readings, Titration, TrialLabel, spoiled_because};
use crate::term::Term;
use crate::text::{read_curve, whole};
use crate::truth::{Bottle, Lot};

/// Most trials of a run.
const MOST_TRIALS: u32 = 12;
/// Fillings of the burette that are asked for.
const FILLINGS: usize = 2;

/// Enters a trial of one's own: asked for one experiment, by its key, of somebody by their login.
pub struct ProvingForm {
    pub experiment: ExperimentKey,
    pub login: String,
    pub now: Timestamp,
}

/// How long after its last reading a run goes on by itself.
const GOES_ON: jiff::SignedDuration = jiff::SignedDuration::from_hours(12);

impl ProvingForm {
    /// The trials of a run that somebody may go on with: their own.
    fn run<'t>(&self, term: &'t Term, number: u32) -> Vec<&'t ProvingTrial> {
        let all = term.proving.get(&self.experiment).into_iter().flatten();
        all.filter(|one| one.run == number && one.by == self.login)
            .collect()
    }

    fn next_run(&self, term: &Term) -> u32 {
        let all = term.proving.get(&self.experiment).into_iter().flatten();
        all.map(|one| one.run).max().unwrap_or(0).saturating_add(1)
    }

    /// The run that is meant: where none is named, the one that somebody is at.
    fn run_typed(&self, term: &Term, typed: &Typed) -> u32 {
        let recent = |one: &&ProvingTrial| {
            let at = one.at.filter(|at| self.now.duration_since(*at) < GOES_ON);
            one.by == self.login && at.is_some()
        };
        let number = match typed.text("run") {
            "" => {
                let all = term.proving.get(&self.experiment).into_iter().flatten();
                all.filter(recent)
                    .max_by_key(|one| one.at)
                    .map(|one| one.run)
            }
            text => whole(text, 1..=MOST_RUNS).ok(),
        };
        let own = number.filter(|number| !self.run(term, *number).is_empty());
        own.unwrap_or_else(|| self.next_run(term))
    }
}

/// The trials of a run in the order in which they are measured.
fn labels(procedure: &Procedure) -> Vec<TrialLabel> {
    let mut labels = procedure.rows_before_trials();
    labels.extend((1..=MOST_TRIALS).map(TrialLabel::Numbered));
    labels
}

/// Whether all that a row has to have is there.
pub fn is_read(procedure: &Procedure, titration: &Titration) -> bool {
    let columns = Column::of_row(procedure, titration.trial, titration.fillings().max(1));
    let mut needed = columns.iter().filter(|column| !column.is_of_curve());
    let curve = || procedure.scheme.instrument().kind().is_meter() && titration.fillings() == 0;
    needed.all(|column| column.get(titration).is_some()) && !curve()
}

fn reading_fields(procedure: &Procedure) -> Vec<Field> {
    if procedure.scheme.instrument().kind().is_meter() {
        let hint = "volume and reading, a point to a line, as the instrument writes them";
        let mut fields = vec![Field::new("curve", "Curve", Kind::Lines(8)).hint(hint)];
        let sample = Column::of_sample(procedure).iter();
        fields.extend(sample.map(|column| reading_field(*column)));
        return fields;
    }
    let columns = Column::with_notes(procedure, FILLINGS).into_iter();
    columns.map(reading_field).collect()
}

fn reading_field(column: Column) -> Field {
    let field = Field::text(column.to_string(), column.label()).longest(20);
    if column == Column::BeforeLastDrop {
        return field.hint("if you noted it");
    }
    match column.is_of_refill() {
        true => field.hint("if it was filled again"),
        false => field,
    }
}

impl ChangeForm for ProvingForm {
    fn form(&self, term: &Term, typed: &Typed) -> Form {
        let Some(experiment) = term.experiment(&self.experiment) else {
            return Form::default();
        };
        let procedure = &experiment.procedure;
        let bottles = term.unknowns.get(&self.experiment).into_iter().flatten();
        let in_lots = procedure.lot_reagents().map(|(species, _)| species);
        let titrant = procedure.titrant().map(|titrant| &titrant.species);
        let species: Vec<&Formula> = in_lots.chain(titrant).collect();
        let is_used = |lot: &&Lot| {
            let formula = Formula::parse(&lot.reagent);
            formula.map_or(true, |formula| species.contains(&&formula))
        };
        let lots = || {
            let used = term.lots.values().filter(is_used);
            used.map(|lot| lot.code.as_str())
        };
        let proves = Proves::ALL.map(|one| (one.name(), one.words()));
        let mut bottle = vec![
            Field::pick("proves", "This run proves", &proves).needed(),
            Field::choice(
                "unknown",
                "Bottle",
                "none",
                named(bottles.map(|(code, _)| code)),
            )
            .expected("a bottle of the experiment"),
        ];
        if procedure.lot_reagent().is_some() || procedure.is_standardisation() {
            bottle.push(
                Field::choice("lot", "Lot", "none", named(lots())).expected("a lot of the course"),
            );
        }
        if procedure.uses_excess_lot() {
            bottle.push(
                Field::choice("excess_lot", "Lot in excess", "none", named(lots()))
                    .expected("a lot of the course"),
            );
        }
        bottle.push(
            Field::text("instrument", "Burette number")
                .hint("optional")
                .longest(40),
        );
        let trials = labels(procedure).into_iter();
        let trials = trials
            .map(|label| (label.to_string(), row_title(label)))
            .collect();
        let mut read = vec![Field::of_list("trial", "Titration", trials)];
        read.extend(reading_fields(procedure));
        read.push(Field::text("spoiled", "Spoiled because").hint("only if it is not to count"));
        let run = self.run_typed(term, typed);
        Form::default()
            .group("", vec![Field::hidden("run").fixed(run.to_string())])
            .group("What is titrated", bottle)
            .group("Readings so far", read)
            .note("What is not read yet is left empty; enter the trial again with more. The readings before stay in the journal.")
            .enter("Enter")
    }

    fn held(&self, term: &Term, query: &Typed) -> Typed {
        let mut held = Typed::default();
        let run = self.run_typed(term, query);
        let trials = self.run(term, run);
        held.set("run", run.to_string());
        held.set("proves", query.text("proves"));
        held.set("unknown", query.text("unknown"));
        held.set("lot", query.text("lot"));
        let Some(experiment) = term.experiment(&self.experiment) else {
            return held;
        };
        let procedure = &experiment.procedure;
        if held.text("proves").is_empty() {
            held.set("proves", Proves::Unknown.name());
        }
        if let Some(last) = trials.last() {
            let row = &last.titration;
            held.set("proves", last.proves.name());
            held.set("unknown", row.unknown.as_deref().unwrap_or_default());
            held.set("lot", row.lot.as_deref().unwrap_or_default());
            held.set("excess_lot", row.excess_lot.as_deref().unwrap_or_default());
            held.set("instrument", row.instrument.as_deref().unwrap_or_default());
        }
        // one that is not read to its end goes on, unless another is asked for
        let open = trials
            .iter()
            .find(|one| !is_read(procedure, &one.titration));
        let asked = TrialLabel::parse(query.text("trial")).ok();
        let shown = match asked {
            Some(label) => trials.iter().find(|one| one.titration.trial == label),
            None => open,
        };
        let done: BTreeSet<TrialLabel> = trials.iter().map(|one| one.titration.trial).collect();
        let mut next = labels(procedure).into_iter();
        let next = next.find(|label| *label != TrialLabel::Rough && !done.contains(label));
        let trial = shown.map(|one| one.titration.trial).or(asked).or(next);
        held.set(
            "trial",
            trial.map(|label| label.to_string()).unwrap_or_default(),
        );
        if let Some(shown) = shown {
            for (column, reading) in &shown.titration.readings {
                held.set(&column.to_string(), reading.written());
            }
            held.set(
                "spoiled",
                shown.titration.spoiled.as_deref().unwrap_or_default(),
            );
        }
        held
    }

    fn changes(&self, typed: &Typed, term: &Term, who: Who<'_>) -> Result<Vec<Change>, Faults> {
        let experiment = experiment(term, &self.experiment)?;
        let procedure = &experiment.procedure;
        let mut read = self.form(term, typed).read(typed);
        let run = self.run_typed(term, typed);
        let proves = read.said("proves").and_then(Proves::from_name);
        let proves = proves.unwrap_or_default();
        let label = TrialLabel::parse(typed.text("trial"));
        let label = label.and_then(|label| row_label(procedure, label));
        let label = read.keep("trial", label);
        let lot = |name: &str| read.said(name).map(LotCode::new);
        let mut titration = Titration {
            lot: lot("lot"),
            excess_lot: lot("excess_lot"),
            unknown: read.said("unknown").map(UnknownCode::new),
            instrument: read.said("instrument").map(str::to_owned),
            ..Titration::new(label.unwrap_or(TrialLabel::Numbered(1)))
        };
        let needs_bottle = proves == Proves::Unknown || !procedure.is_standardisation();
        if titration.unknown.is_none() && needs_bottle {
            read.fault(
                "unknown",
                "found none, expected the bottle that is titrated",
            );
        }
        let needs_lot = proves == Proves::Lot || procedure.uses_titrant_lot();
        if titration.lot.is_none() && needs_lot {
            read.fault("lot", "found none, expected the lot of the reagent");
        }
        if titration.excess_lot.is_none() && procedure.uses_excess_lot() && !procedure.trials.blank
        {
            read.fault(
                "excess_lot",
                "found none, expected the lot of the reagent in excess",
            );
        }
        let spoiled = read.said("spoiled").map(spoiled_because);
        titration.spoiled = spoiled.and_then(|because| read.keep("spoiled", because));
        match readings_typed(procedure, typed) {
            Ok(readings) => titration.readings = readings,
            Err(faults) => faults
                .into_iter()
                .for_each(|(field, what)| read.fault(field, what)),
        }
        for refused in refusals(procedure, 0, &titration) {
            read.fault(refused.column.to_string(), refused.text);
        }
        if titration.readings.is_empty() && read.is_sound() {
            let fields = reading_fields(procedure);
            let first = fields.first().map_or("trial", |field| field.name.as_str());
            read.fault(first, "found nothing, expected a reading");
        }
        let others = self.run(term, run);
        let codes = |one: &Titration| (one.unknown.clone(), one.lot.clone());
        let differs = |one: &&&ProvingTrial| {
            one.proves != proves || codes(&one.titration) != codes(&titration)
        };
        if others.iter().find(differs).is_some() {
            let what = "found others than the run began with, expected those: begin another run";
            read.fault("proves", what);
        }
        read.check()?;
        let (login, at) = who;
        let bottle = match (proves, &titration.unknown, &titration.lot) {
            (Proves::Unknown, Some(code), _) => Some(Bottle::unknown(&self.experiment, code)),
            (Proves::Lot, _, Some(code)) => Some(Bottle::Lot(code.clone())),
            _ => None,
        };
        let begun = others.first().map(|one| one.version);
        let version = begun.or_else(|| term.version(&bottle?));
        let trial = ProvingTrial {
            experiment: self.experiment.clone(),
            run,
            proves,
            version: version.unwrap_or(1),
            titration,
            by: login.to_owned(),
            at: Some(at),
        };
        let same = trial.before(term).is_some_and(|before| {
            before.titration == trial.titration && before.proves == trial.proves
        });
        Ok(match same {
            true => Vec::new(),
            false => vec![trial.into()],
        })
    }
}

/// The readings of what was typed, of which any may still be missing.
fn readings_typed(procedure: &Procedure, typed: &Typed) -> Result<Readings, Vec<(String, String)>> {
    let (mut readings, mut faults) = (Readings::new(), Vec::new());
    for field in reading_fields(procedure) {
        let text = typed.one(&field.name).unwrap_or_default().trim();
        let Some(column) = Column::from_name(&field.name).filter(|_| !text.is_empty()) else {
            continue;
        };
        match column.parse(text) {
            Ok(reading) => drop(readings.insert(column, reading)),
            Err(why) => faults.push((field.name, why.to_string())),
        }
    }
    if let Scheme::Curve(scheme) = &procedure.scheme
        && let Some(pasted) = typed.one("curve").filter(|text| !text.trim().is_empty())
    {
        let signal = scheme.curve.signal;
        match read_curve(pasted, signal.headings(), MAX_POINTS) {
            Err(what) => faults.push(("curve".to_owned(), what.to_string())),
            Ok(curve) => {
                for (n, (volume, shown)) in (1..).zip(curve.points) {
                    for (column, text) in
                        [(Column::CurveVolume(n), volume), (signal.column(n), shown)]
                    {
                        match column.parse(&text) {
                            Ok(reading) => drop(readings.insert(column, reading)),
                            Err(why) => faults.push(("curve".to_owned(), why.to_string())),
                        }
                    }
                }
            }
        }
    }
    if faults.is_empty() {
        Ok(readings)
    } else {
        Err(faults)
    }
}
