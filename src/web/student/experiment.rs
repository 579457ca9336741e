//! One experiment as its student sees it: what to do, what was handed in, and after release what came of it.

use askama::Template;
use axum::extract::Path;
use axum::response::IntoResponse;

use super::bench::issued;
use super::class::{ClassPicture, picture};
use super::corrected;
use super::instruments::instrument_words;
use super::record::{
    ReadingsTable, VolumeSpread, bottles_in_words, readings_table, spread_for_student,
};
use super::sharing::{entered_by, mates_words};
use super::talk::{Talk, talk};
use crate::chem::printed_reaction;
use crate::course::Experiment;
use crate::desk::Image;
use crate::ids::ExperimentKey;
use crate::judge::{Evaluation, Marking, Marks, PartMark};
use crate::language::{Language, Message, message, number};
use crate::measure::{plain, to_figures};
use crate::term::{Ruling, Slot, Status, standing};
use crate::web::curve_picture::{CurvePicture, curves};
use crate::web::trials_picture::{self, TrialsPicture};
use crate::web::{Frame, Page, PageError, PageResult, QueryFields, StudentVisitor, Uncertainty};
use crate::workup::{DerivationPart, derivation, significant_figures, written_by_rule};

#[derive(Template)]
#[template(path = "student/experiment.html")]
pub struct ExperimentPage {
    frame: Frame,
    student: String,
    section: String,
    key: ExperimentKey,
    title: String,
    due: String,
    summary: String,
    reactions: Vec<String>,
    steps: Vec<String>,
    endpoint: String,
    glassware_note: String,
    cautions: Vec<String>,
    waste: String,
    instruments: String,
    bottle: Option<String>,
    /// The bottle it was given in place of.
    instead_of: Option<String>,
    can_hand_in: bool,
    not_open: Option<String>,
    returned: Option<String>,
    revisions: Vec<RevisionView>,
    feedback: Option<Feedback>,
    /// Values that were corrected since the results were released.
    corrections: Vec<String>,
    released: bool,
    /// The bench mates with whom readings are shared.
    mates: Option<String>,
    /// The mate who entered the readings that count.
    entered_by: Option<String>,
    /// The student's own answer to readings of a mate.
    own_answer: Option<String>,
    /// Notes to and from staff.
    pub talk: Talk,
}

/// One revision of the record; those before the last are shown struck through.
struct RevisionView {
    number: usize,
    receipt: Option<i64>,
    at: String,
    reason: String,
    replaced: bool,
    reported: Option<String>,
    readings: ReadingsTable,
    bottles: String,
    spread: Option<VolumeSpread>,
}

/// A part of the marking, with what full points need where there are fewer.
pub struct PartRow {
    pub part: String,
    pub points: String,
    pub possible: String,
    pub why: String,
}

fn parts(marking: &Marking, marks: &Marks, language: Language) -> Vec<PartRow> {
    let row = |mark: &PartMark| {
        let need = marking.full_points_need(mark.part);
        let need = need.filter(|_| mark.points < mark.possible);
        let sentences = [Some(mark.sentence.clone()), need];
        let said = sentences.into_iter().flatten();
        let said: Vec<String> = said.map(|sentence| language.say(&sentence)).collect();
        PartRow {
            part: language.say(&mark.part.words()),
            points: language.number(mark.points),
            possible: language.number(mark.possible),
            why: said.join(" "),
        }
    };
    marks.parts.iter().map(row).collect()
}

/// What came of it; only ever made after release.
struct Feedback {
    total: String,
    possible: String,
    result: Option<String>,
    picture: Option<TrialsPicture>,
    curves: Vec<CurvePicture>,
    unit: &'static str,
    expanded: Option<String>,
    /// Standard deviation of the trials that count.
    scatter: Option<String>,
    parts: Vec<PartRow>,
    late: Option<(String, String)>,
    adjustment: Option<(String, String)>,
    derivation: Vec<DerivationPart>,
    uncertainty: Option<Uncertainty>,
    /// The result as the textbook rule writes it, and how many figures that is.
    by_rule: Option<(String, u32)>,
    left_out: Vec<String>,
    /// What likely went wrong with the readings, kindly.
    advice: Option<Message>,
    /// What was in the bottle and how far the result is off, in words; only where the course shows it.
    told: Option<String>,
    /// Where the class lies.
    class: Option<ClassPicture>,
}

pub async fn page(
    Path(key): Path<ExperimentKey>,
    visitor: StudentVisitor,
    QueryFields(query): QueryFields,
) -> PageResult<impl IntoResponse> {
    let mut page = page_of(&key, &visitor).await?;
    if query.text("done") == "asked" {
        let sent = visitor.language().text("experiment.note-sent");
        page.frame.notice = Some(sent.to_owned());
    }
    Ok(Page(page))
}

/// The page as it stands.
pub async fn page_of(key: &ExperimentKey, visitor: &StudentVisitor) -> PageResult<ExperimentPage> {
    let corrections = visitor
        .state
        .desk
        .corrections(&Slot::new(key, &visitor.id))
        .await?;
    let view = visitor.view().await?;
    let experiment = view.term.experiment(key).ok_or_else(PageError::not_found)?;
    let slot = Slot::new(key, &visitor.id);
    let procedure = &experiment.procedure;
    let released = view.is_released_to(&slot);
    let own_dates = view.term.dates_for(experiment, &visitor.id);
    let opens = view.term.course.zone.instant(own_dates.opens);
    let not_open = opens.is_some_and(|opens| visitor.now() < opens);
    let language = visitor.language();
    let text = procedure.text_in(language);
    Ok(ExperimentPage {
        frame: visitor.frame(procedure.title_in(language)),
        student: visitor.id.to_string(),
        section: visitor.section.clone(),
        key: key.to_owned(),
        title: procedure.title_in(language).to_owned(),
        due: language.date(own_dates.due),
        summary: text.summary.clone(),
        reactions: procedure
            .reactions
            .iter()
            .map(|reaction| printed_reaction(&reaction.to_string()))
            .collect(),
        steps: text.steps.clone(),
        endpoint: text.endpoint.clone(),
        glassware_note: text.glassware_note.clone(),
        cautions: text.cautions.clone(),
        waste: text.waste.clone(),
        instruments: language.say(&instrument_words(procedure)),
        bottle: view.term.issued.get(&slot).map(ToString::to_string),
        instead_of: view
            .term
            .reissued
            .get(&slot)
            .and_then(|all| Some(all.last()?.instead_of.to_string())),
        can_hand_in: !released && !not_open,
        not_open: not_open.then(|| language.date(own_dates.opens)),
        returned: returned_note(&view, &slot),
        revisions: revisions(&view, experiment, (&slot, language)),
        feedback: if released {
            feedback(&view, experiment, (&slot, language))
        } else {
            None
        },
        corrections: if released {
            corrected::sentences(&corrections, &view.term.course.zone, language)
        } else {
            Vec::new()
        },
        released,
        mates: mates_words(&view, &slot, language),
        entered_by: entered_by(&view, &slot),
        own_answer: own_answer(&view, &slot).map(|answer| language.number(answer)),
        talk: talk(&view, &slot, language),
    })
}

/// The student's own answer, where a bench mate wrote the readings.
fn own_answer(view: &Image, slot: &Slot) -> Option<String> {
    let (reader, _) = view.term.handed_in_by(slot)?;
    let last = view.term.submissions.get(slot)?.last()?;
    let reported = last.hand_in.reported.as_ref()?;
    (reader != slot).then(|| reported.written().to_owned())
}

/// What was in the bottle, where the student may know.
fn told(view: &Image, slot: &Slot, unit: &str) -> Option<Message> {
    let told = view.term.told(slot, view.judged.get(slot)?)?;
    let said = match told.off_percent {
        None => message!("feedback.told"),
        Some(off) if off.is_zero() => message!("feedback.told-just"),
        Some(off) => {
            let said = match off.is_sign_negative() {
                true => message!("feedback.told-below"),
                false => message!("feedback.told-above"),
            };
            said.with("off", number(plain(to_figures(off.abs(), 2))))
        }
    };
    let held = number(plain(to_figures(told.assigned, 5)));
    let bottle = told.bottle.to_string();
    Some(
        said.with("bottle", bottle)
            .with("held", held)
            .with("unit", unit),
    )
}

/// The note with which an assistant gave the submission back.
pub fn returned_note(view: &Image, slot: &Slot) -> Option<String> {
    view.judged
        .get(slot)
        .filter(|judged| judged.status == Status::Returned)?;
    let last = standing(view.term.decisions.get(slot)?)
        .into_iter()
        .rev()
        .find(|d| d.ruling == Ruling::Return)?;
    Some(last.reason.clone())
}

fn revisions(
    view: &Image,
    experiment: &Experiment,
    (slot, language): (&Slot, Language),
) -> Vec<RevisionView> {
    let Some((reader, revisions)) = view.term.handed_in_by(slot) else {
        return Vec::new();
    };
    let procedure = &experiment.procedure;
    let last = revisions.len();
    let one = |(index, revision): (usize, &crate::term::Revision)| RevisionView {
        number: index.saturating_add(1),
        receipt: revision.receipt.filter(|_| reader == slot),
        at: revision
            .submitted_at
            .map(|at| language.date(view.term.course.zone.local(at)))
            .unwrap_or_default(),
        reason: revision.reason.clone(),
        replaced: index.saturating_add(1) < last,
        // a bench mate's answer is the mate's own affair
        reported: revision
            .hand_in
            .reported
            .as_ref()
            .filter(|_| reader == slot)
            .map(|r| language.number(r.written())),
        readings: readings_table(procedure, &revision.hand_in, language),
        bottles: bottles_in_words(&revision.hand_in, issued(view, reader), language),
        spread: spread_for_student(view, experiment, slot, &revision.hand_in),
    };
    revisions.iter().enumerate().map(one).rev().collect()
}

fn feedback(
    view: &Image,
    experiment: &Experiment,
    (slot, language): (&Slot, Language),
) -> Option<Feedback> {
    let evaluation: &Evaluation = &view.judged.get(slot)?.evaluation;
    let marks = &evaluation.marks;
    let work_up = view.term.with_case(slot, |case| case.work_up())?;
    let unit = experiment.procedure.result.unit.name();
    let shown = |value| language.number(plain(to_figures(value, 5)));
    let figures = |value| language.number(plain(to_figures(value, 2)));
    let adjusted = view.term.decisions.get(slot).and_then(|decisions| {
        decisions
            .iter()
            .rev()
            .find(|d| matches!(d.ruling, Ruling::Adjust { .. }))
            .map(|d| d.reason.clone())
    });
    let decided = |number: u32| {
        let decisions = view.term.decisions.get(slot)?.iter().rev();
        let mut of_it = decisions.filter(|d| {
            matches!(d.ruling, Ruling::LeaveOut { trial } | Ruling::PutBack { trial } if trial == number)
        });
        let last = of_it.next()?;
        matches!(last.ruling, Ruling::LeaveOut { .. }).then(|| last.reason.clone())
    };
    let left_out = work_up.trials.iter().filter_map(|trial| {
        let (number, why) = (trial.trial.number()?, trial.why_not.clone()?);
        let why = match decided(number) {
            Some(reason) => message!("feedback.why-decided", why = why, reason = reason),
            None => why,
        };
        let trial = message!("trial.numbered", n = number);
        let said = message!("feedback.not-counted", trial = trial, why = why);
        Some(language.say(&said))
    });
    Some(Feedback {
        total: language.number(marks.total),
        possible: language.number(marks.possible),
        result: evaluation.outcome.as_ref().map(|o| shown(o.result)),
        picture: trials_picture::picture(evaluation, None, language),
        curves: view
            .term
            .hand_in_of(slot)
            .map(|hand_in| curves(&experiment.procedure, &hand_in, &work_up, language))
            .unwrap_or_default(),
        unit,
        expanded: evaluation
            .outcome
            .as_ref()
            .map(|o| figures(o.expanded_uncertainty)),
        scatter: evaluation
            .outcome
            .as_ref()
            .and_then(|o| Some(figures(o.std_dev?))),
        parts: parts(&experiment.procedure.marking, marks, language),
        late: (!marks.late_sentence.is_empty()).then(|| {
            (
                language.number(marks.late),
                language.say(&marks.late_sentence),
            )
        }),
        adjustment: (!marks.adjustment.is_zero()).then(|| {
            (
                language.number(marks.adjustment),
                adjusted.unwrap_or_default(),
            )
        }),
        derivation: derivation(&work_up, language),
        uncertainty: work_up
            .budget
            .as_ref()
            .map(|budget| Uncertainty::of(budget, unit, language)),
        by_rule: work_up.result.and_then(|id| {
            let figures = significant_figures(&work_up.graph, id)?;
            let written = written_by_rule(&work_up.graph, id);
            Some((language.number(written), figures))
        }),
        left_out: left_out.collect(),
        // that of an answer stands in the sentence of its part
        advice: [&evaluation.trial_slips, &evaluation.reading_slips]
            .into_iter()
            .find_map(|explanation| explanation.likely())
            .map(|slip| slip.code.advice()),
        told: told(view, slot, unit).map(|told| language.say(&told)),
        class: view
            .term
            .class_of(&view.judged, slot)
            .as_ref()
            .map(|class| picture(class, language)),
    })
}
