//! What the bench form and the look-over page show.

use askama::Template;
use jiff::Timestamp;

use super::entry::{
    Doubt, Entry, FILLINGS, FieldFault, field_name, instrument_label, spoiled_field, trial_words,
};
use super::entry_curve::{file_field, pasted_field, signal_of};
use super::experiment::returned_note;
use super::instruments::{expressed_as, instrument_words, lot_labels, standard_words};
use super::record::{ReadingsTable, VolumeSpread, readings_table, volume_spread};
use super::sharing::mates_words;
use super::taken_over::titrant_words;
use super::worth::watched;
use crate::chem::Formula;
use crate::columns::{Column, MAX_POINTS};
use crate::course::Experiment;
use crate::desk::Image;
use crate::language::{Language, Message, message};
use crate::procedure::Procedure;
use crate::submission::{HandIn, TrialLabel};
use crate::term::Slot;
use crate::web::curve_picture::{CurvePicture, curves};
use crate::web::{Frame, StudentVisitor};
use crate::workup::work_up_readings;

#[derive(Template)]
#[template(path = "student/bench.html")]
pub struct BenchForm {
    frame: Frame,
    heading: Heading,
    entry: Entry,
    rows: Vec<FormRow>,
    lot_label: Message,
    excess_lot_label: Message,
    lots: Vec<String>,
    excess_lots: Vec<String>,
    needs_lot: bool,
    needs_excess_lot: bool,
    told: Told,
    /// Whether the trials agree, as far as they are in.
    watched: Vec<String>,
    /// What was handed in meanwhile.
    newest: Option<(String, ReadingsTable)>,
}

/// What the form has to say.
#[derive(Default)]
pub struct Told {
    /// What is wrong with fields.
    pub faults: Vec<FieldFault>,
    /// What is wrong with all of it.
    pub message: Option<Message>,
    /// Another version was handed in since the form was opened.
    pub overtaken: bool,
    /// Nothing in the form was typed just now, so a draft may take its place.
    pub fresh: bool,
    /// The code on the bottle comes from its label, and not from a draft.
    pub scanned: bool,
    /// The form is kept by the browser for when there is no connection.
    pub shell: bool,
    /// Curves that were put into their tables just now.
    pub taken: Vec<Message>,
    /// When the server kept the draft from which the form goes on, in milliseconds.
    pub kept: Option<i64>,
    /// The form is asked for without what was kept.
    pub anew: bool,
    /// When, where the form shows what was kept.
    pub going_on: Option<String>,
    /// Whether the student has a hand up.
    pub hand: bool,
    /// Said where another form has gone on since.
    pub elsewhere: bool,
}

/// What would be handed in.
#[derive(Template)]
#[template(path = "student/look.html")]
pub struct Look {
    frame: Frame,
    lot_labels: [Message; 2],
    heading: Heading,
    entry: Entry,
    /// The own answer without a unit.
    answer: Option<String>,
    hidden: Vec<(String, String)>,
    readings: ReadingsTable,
    curves: Vec<CurvePicture>,
    spread: Option<VolumeSpread>,
    watched: Vec<String>,
    few: Option<Message>,
    late: bool,
    pub doubts: Vec<Doubt>,
    /// Whether it was to be handed in with questions left.
    pub unanswered: bool,
}

/// What stands above the form.
struct Heading {
    key: String,
    title: String,
    due: String,
    unit: &'static str,
    expressed_as: Message,
    instruments: Message,
    bottle: Option<String>,
    /// What is known of a titrant carried over.
    titrant: Option<Message>,
    instrument_label: &'static str,
    cautions: Vec<String>,
    /// Name of the student's drafts.
    owner: String,
    /// With whom the readings are shared.
    mates: Option<String>,
    /// The note with which an assistant gave it back.
    returned: Option<String>,
}

/// One titration of the form.
struct FormRow {
    title: String,
    /// Where there is little room.
    short: String,
    hint: String,
    optional: bool,
    open: bool,
    trial: String,
    /// Name of the field that can start where the trial before ended.
    carries_to: Option<(u32, String)>,
    cells: Vec<FormCell>,
    /// A table of points, where a curve is read.
    curve: Option<FormCurve>,
    /// What nobody has to note.
    notes: Vec<FormCell>,
    /// The key of what they are called.
    notes_title: &'static str,
    noted: bool,
    refills: Vec<FormCell>,
    refilled: bool,
    /// Of a numbered trial, why it is spoiled.
    spoiled: Option<FormCell>,
}

/// A curve on the form.
struct FormCurve {
    /// What it is pasted into.
    pasted: FormCell,
    /// Name of the field of an instrument's file.
    file: String,
    heads: [String; 2],
    /// Volume and signal of each point, with a few to spare.
    points: Vec<[FormCell; 2]>,
}

/// Points the form shows at least, and more than are typed.
const FEWEST_POINTS: usize = 16;
const SPARE_POINTS: usize = 4;

/// One field of the form.
struct FormCell {
    name: String,
    label: String,
    value: String,
    fault: Option<String>,
    hint: String,
}

/// The form as it is typed.
pub fn form_page(
    view: &Image,
    experiment: &Experiment,
    visitor: &StudentVisitor,
    entry: Entry,
    owner: String,
    told: Told,
) -> BenchForm {
    let procedure = &experiment.procedure;
    let lots_of = |species: &Formula| -> Vec<String> {
        let same = view.term.lots_of(species);
        // reagents that are named in words cannot be told apart: then every lot is offered
        if same.is_empty() {
            view.term.lots.keys().map(ToString::to_string).collect()
        } else {
            same.into_iter().map(|lot| lot.code.to_string()).collect()
        }
    };
    let language = visitor.language();
    let [lot_label, excess_lot_label] = lot_labels(procedure);
    BenchForm {
        frame: visitor.frame(experiment.procedure.title_in(language)),
        heading: heading(view, experiment, visitor, owner),
        rows: form_rows(procedure, &entry, (&told.faults, language)),
        lot_label,
        excess_lot_label,
        lots: procedure
            .lot_reagent()
            .filter(|_| procedure.line_taken_over().is_none())
            .map(|(species, _)| lots_of(species))
            .unwrap_or_default(),
        excess_lots: procedure
            .excess()
            .map(|e| lots_of(&e.species))
            .unwrap_or_default(),
        needs_lot: procedure.uses_titrant_lot(),
        needs_excess_lot: procedure.uses_excess_lot(),
        watched: watched(
            procedure,
            &work_up_readings(procedure, &entry.so_far(procedure).0),
            language,
        ),
        newest: told
            .overtaken
            .then(|| newest(view, experiment, visitor))
            .flatten(),
        entry,
        told,
    }
}

/// The form with nothing in it but what the label of the bottle says: no name, no token, nothing handed in.
pub fn shell_page(
    view: &Image,
    experiment: &Experiment,
    visitor: &StudentVisitor,
    entry: Entry,
    owner: String,
) -> BenchForm {
    let told = Told {
        fresh: true,
        shell: true,
        ..Told::default()
    };
    let page = form_page(view, experiment, visitor, entry, owner, told);
    BenchForm {
        frame: Frame {
            course: page.frame.course,
            title: page.frame.title,
            language: page.frame.language,
            ..Frame::default()
        },
        heading: Heading {
            mates: None,
            returned: None,
            titrant: None,
            ..page.heading
        },
        ..page
    }
}

/// What would be handed in, with nothing said against it yet.
pub fn look_page(
    view: &Image,
    experiment: &Experiment,
    visitor: &StudentVisitor,
    (entry, hand_in): (Entry, HandIn),
    owner: String,
    now: Timestamp,
) -> Look {
    let procedure = &experiment.procedure;
    let language = visitor.language();
    let due = view.term.dates_for(experiment, &visitor.id).due;
    let due = view.term.course.zone.instant(due);
    let work_up = work_up_readings(procedure, &hand_in);
    Look {
        frame: visitor.frame(language.text("look.title")),
        lot_labels: lot_labels(procedure),
        heading: heading(view, experiment, visitor, owner),
        answer: hand_in
            .reported
            .as_ref()
            .map(|r| language.number(r.written())),
        hidden: hidden(&entry),
        readings: readings_table(procedure, &hand_in, language),
        curves: curves(procedure, &hand_in, &work_up, language),
        spread: volume_spread(procedure, &hand_in, &work_up),
        watched: watched(procedure, &work_up, language),
        few: few(procedure, &hand_in),
        late: due.is_some_and(|due| now > due),
        doubts: Vec::new(),
        unanswered: false,
        entry,
    }
}

impl BenchForm {
    fn fault_of(&self, field: &str) -> Option<String> {
        let mut faults = self.told.faults.iter();
        let of = faults.find(|fault| fault.field == field);
        of.map(|fault| self.frame.say(&fault.what))
    }
}

/// When the newest version was handed in, and its readings.
fn newest(
    view: &Image,
    experiment: &Experiment,
    visitor: &StudentVisitor,
) -> Option<(String, ReadingsTable)> {
    let slot = Slot::new(&experiment.key, &visitor.id);
    let last = view.term.submissions.get(&slot)?.last()?;
    let zone = &view.term.course.zone;
    let at = last.submitted_at.map(|at| visitor.at(zone, at));
    let readings = readings_table(&experiment.procedure, &last.hand_in, visitor.language());
    Some((at.unwrap_or_default(), readings))
}

/// A word on trials or a blank still missing.
fn few(procedure: &Procedure, hand_in: &HandIn) -> Option<Message> {
    let (count, minimum) = (hand_in.numbered().count(), procedure.trials.minimum);
    let trials = (count < minimum as usize).then(|| {
        let asked = message!("count.trial", n = minimum);
        message!("bench.few-trials", found = count, asked = asked)
    });
    let blank = procedure.trials.blank && !hand_in.has_blank();
    let blank = blank.then(|| message!("bench.no-blank"));
    match (trials, blank) {
        (Some(trials), Some(blank)) => {
            Some(message!("bench.few-and", trials = trials, blank = blank))
        }
        (one, other) => one.or(other),
    }
}

/// Every field of the form but the session's token and the answers to questions.
fn hidden(entry: &Entry) -> Vec<(String, String)> {
    let named = [
        ("key", entry.key.clone()),
        ("seen", entry.seen.to_string()),
        ("trials", entry.trials().to_string()),
        ("lot", entry.lot.clone()),
        ("excess_lot", entry.excess_lot.clone()),
        ("unknown", entry.unknown.clone()),
        ("instrument", entry.instrument.clone()),
        ("reported", entry.reported.clone()),
        ("reason", entry.reason.clone()),
    ];
    let mut fields: Vec<(String, String)> = named
        .into_iter()
        .map(|(name, value)| (name.to_owned(), value))
        .collect();
    for row in &entry.rows {
        fields.extend(
            row.cells
                .iter()
                .map(|(column, text)| (field_name(row.trial, *column), text.clone())),
        );
        if !row.spoiled.is_empty() {
            fields.push((spoiled_field(row.trial), row.spoiled.clone()));
        }
    }
    fields
}

fn heading(
    view: &Image,
    experiment: &Experiment,
    visitor: &StudentVisitor,
    owner: String,
) -> Heading {
    let procedure = &experiment.procedure;
    let slot = Slot::new(&experiment.key, &visitor.id);
    let language = visitor.language();
    Heading {
        key: experiment.key.to_string(),
        title: procedure.title_in(language).to_owned(),
        due: language.date(view.term.dates_for(experiment, &visitor.id).due),
        unit: procedure.result.unit.name(),
        expressed_as: expressed_as(procedure),
        instruments: instrument_words(procedure),
        mates: mates_words(view, &slot, language),
        returned: returned_note(view, &slot),
        bottle: view.term.issued.get(&slot).map(ToString::to_string),
        titrant: titrant_words(view, experiment, &slot),
        instrument_label: instrument_label(procedure),
        cautions: procedure.text_in(language).cautions.clone(),
        owner,
    }
}

fn form_rows(
    procedure: &Procedure,
    entry: &Entry,
    (faults, language): (&[FieldFault], Language),
) -> Vec<FormRow> {
    let brings_back = procedure.excess().is_some_and(|e| e.brought_back.is_some());
    let fault_of = |name: &str| {
        let fault = faults.iter().find(|fault| fault.field == name);
        fault.map(|fault| language.say(&fault.what))
    };
    let row = |row: &super::entry::EntryRow| {
        let trial = row.trial;
        let cell = |column: &Column| {
            let name = field_name(trial, *column);
            let decimals = column.glassware(procedure).decimals().unwrap_or(0);
            let fault = fault_of(&name);
            let hint = language.counted("count.decimal", decimals);
            FormCell {
                label: language.say(&column.words()),
                value: row.cells.get(column).cloned().unwrap_or_default(),
                fault,
                hint,
                name,
            }
        };
        let curve = signal_of(procedure).map(|signal| {
            let typed = row.cells.keys().map(|column| column.number()).max();
            let shown = typed.unwrap_or(0).saturating_add(SPARE_POINTS);
            let shown = shown.clamp(FEWEST_POINTS, MAX_POINTS);
            let head = |column: Column| match column.glassware(procedure).kind().unit() {
                "" => language.say(&column.head()),
                unit => language.say(&message!("bench.head", head = column.head(), unit = unit)),
            };
            let name = pasted_field(trial);
            FormCurve {
                heads: [Column::CurveVolume(1), signal.column(1)].map(head),
                points: (1..=shown)
                    .map(|n| [Column::CurveVolume(n), signal.column(n)].map(|c| cell(&c)))
                    .collect(),
                file: file_field(trial),
                pasted: FormCell {
                    fault: fault_of(&name),
                    label: language.text("bench.paste").to_owned(),
                    value: row.pasted.clone(),
                    hint: language.text("bench.paste-hint").to_owned(),
                    name,
                },
            }
        });
        let mut own = Column::of_row(procedure, trial, FILLINGS);
        own.retain(|column| !column.is_of_curve());
        // in the order of the work: what is titrated is measured first
        own.sort_by_key(|column| !Column::of_sample(procedure).contains(column));
        let noted = Column::with_notes(procedure, 1).into_iter();
        let noted = noted.filter(|column| column.is_note(procedure) && trial != TrialLabel::Rough);
        let notes: Vec<FormCell> = noted.map(|column| cell(&column)).collect();
        let has_any = |cells: &[FormCell]| {
            let mut cells = cells.iter();
            cells.any(|cell| !cell.value.is_empty() || cell.fault.is_some())
        };
        let carries_to = trial
            .number()
            .filter(|n| *n > 1 && own.contains(&Column::BuretteStart(1)))
            .map(|n| (n, field_name(trial, Column::BuretteStart(1))));
        let (more, first): (Vec<Column>, Vec<Column>) =
            own.into_iter().partition(|c| c.is_of_refill());
        let cells: Vec<FormCell> = first.iter().map(cell).collect();
        let refills: Vec<FormCell> = more.iter().map(cell).collect();
        FormRow {
            title: language.say(&trial_words(trial)),
            short: match trial {
                TrialLabel::Numbered(n) => n.to_string(),
                TrialLabel::Standard(n) => language.counted("trial.standard-short", n),
                TrialLabel::Rough => language.text("bench.rough-step").to_owned(),
                TrialLabel::Blank => language.text("trial.blank").to_owned(),
            },
            hint: match trial {
                TrialLabel::Rough => language.text("bench.rough-hint").to_owned(),
                TrialLabel::Blank => language.text("bench.blank-hint").to_owned(),
                TrialLabel::Numbered(_) => String::new(),
                TrialLabel::Standard(n) => language.say(&standard_words(procedure, n)),
            },
            optional: trial == TrialLabel::Rough,
            open: !row.is_blank() || !row.pasted.is_empty(),
            refilled: has_any(&refills),
            noted: has_any(&notes),
            trial: trial.to_string(),
            carries_to,
            cells,
            curve,
            notes,
            notes_title: match brings_back {
                true => "bench.last-drop-or-back",
                false => "bench.last-drop",
            },
            refills,
            spoiled: trial.number().map(|_| {
                let name = spoiled_field(trial);
                FormCell {
                    fault: fault_of(&name),
                    label: language.text("bench.spoiled-because").to_owned(),
                    value: row.spoiled.clone(),
                    hint: language.text("bench.spoiled-hint").to_owned(),
                    name,
                }
            }),
        }
    };
    entry.rows.iter().map(row).collect()
}
