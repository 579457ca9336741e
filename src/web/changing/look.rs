//! What a form would change, before it is changed: values, what the class finds, every grade.

use askama::Template;
use axum::http::StatusCode;
use axum::response::Response;
use rust_decimal::Decimal;

use super::{Place, Visit};
use crate::changes::{Change, Remarks, Replaced};
use crate::course::Experiment;
use crate::desk::Image;
use crate::desk::forms::{Looked, recorded};
use crate::form::{Faults, Filled, Form, Typed};
use crate::judge::{AuditGroup, AuditKind, GroupName};
use crate::term::{Altered, ExperimentAudit, Preview, Term};
use crate::truth::Bottle;
use crate::web::coordinator::audit::words;
use crate::web::coordinator::titres;
use crate::web::prep::Shown;
use crate::web::{Frame, Page, PageError, PageResult};

#[derive(Template)]
#[template(path = "look.html")]
struct LookPage {
    frame: Frame,
    action: String,
    hidden: Vec<(String, String)>,
    /// The reason it wants, with what is wrong with it.
    form: Filled,
    /// What is wrong with all of it.
    stale: Option<String>,
    by_do: bool,
    /// Where it leads that leaves all as it is.
    back: String,
    /// Whether nothing at all would change.
    nothing: bool,
    /// Whether a value takes the place of another.
    replaces: bool,
    remarks: Remarks,
    values: Vec<ValueRow>,
    /// Whether any of them has an uncertainty.
    uncertain: bool,
    /// What unknowns should give: the head of the column, and with what.
    titres: Option<(String, String)>,
    tally: Tally,
    /// What becomes of students' points; none for whoever sees no marks.
    points: Option<Points>,
    released: Vec<String>,
    button: String,
    /// How a single recorded value comes about.
    shown: Option<Shown>,
}

/// One value, before and after.
struct ValueRow {
    replaced: Replaced,
    /// What an unknown should give.
    titre: Option<String>,
    warning: Option<String>,
}

/// What a change does to students' points.
struct Points {
    groups: Vec<GroupRow>,
    grades: Vec<GradeRow>,
}

/// What the class finds with a value, before and after.
struct GroupRow {
    experiment: String,
    name: String,
    n: usize,
    before: String,
    after: String,
    verdict: String,
    off: bool,
}

/// How many are marked anew, and what becomes of them.
struct Tally {
    altered: usize,
    gain: usize,
    lose: usize,
    most_gained: Option<String>,
    most_lost: Option<String>,
    /// Waiting for a person before and after.
    waiting: (usize, usize),
}

/// One grade that would be another.
pub struct GradeRow {
    pub student: String,
    pub id: String,
    pub section: String,
    /// Key of the experiment.
    pub experiment: String,
    pub before: String,
    pub after: String,
    /// The difference with its sign.
    pub change: String,
}

/// The page that says so. `faults` are those of having tried it already.
pub(super) async fn page(
    place: &'static Place,
    visit: &Visit,
    (typed, faults): (Typed, Faults),
    looked: Looked,
    remarks: Remarks,
) -> PageResult<Response> {
    let view = visit.view().await?;
    let status = match faults.is_empty() {
        true => StatusCode::OK,
        false => StatusCode::UNPROCESSABLE_ENTITY,
    };
    let changes = &looked.changes;
    let preview = visit.state.desk.preview(&view, changes).await?;
    let (image, tried) = (view.clone(), changes.clone());
    let with_groups = visit.is_coordinator();
    // whole classes are audited: not on a thread that serves pages
    let audited = tokio::task::spawn_blocking(move || {
        let groups = with_groups.then(|| groups(&image, &preview, &assigned(&tried)));
        (preview, groups.unwrap_or_default())
    });
    let (preview, groups) = audited.await.map_err(PageError::internal)?;
    let moved = |altered: &&Altered| !altered.gain().is_zero();
    let row = |replaced| ValueRow {
        replaced,
        titre: None,
        warning: None,
    };
    let replaced = changes.iter().flat_map(|c| c.replaced(&view.term));
    let mut values: Vec<ValueRow> = replaced.map(row).collect();
    let points = visit.is_coordinator().then(|| Points {
        groups,
        grades: preview
            .altered
            .iter()
            .filter(moved)
            .map(|altered| grade(&view.term, altered))
            .collect(),
    });
    let tally = tally(&preview.altered);
    let after = &preview.term;
    let expected = experiment_of(after, changes).map(|e| (e, titres::expected(after, e)));
    if let Some((_, (titres, _))) = &expected {
        for row in &mut values {
            let mut titres = titres.iter();
            let own = titres.find(|t| {
                let code = row.replaced.unknown.as_ref();
                code.is_some_and(|code| *code == t.code)
            });
            row.titre = own.and_then(|titre| titre.volume.clone());
            row.warning = own.and_then(|titre| titre.warning.clone());
        }
    }
    let form = Form::of(looked.reason.into_iter().collect());
    let uncertain = values.iter().any(|row| !row.replaced.after.1.is_empty());
    let page = LookPage {
        frame: visit.frame("What this would change"),
        action: place.action(visit),
        hidden: looked.carried.into_pairs(),
        stale: faults.of("seen"),
        form: form.filled("", typed, faults),
        by_do: place.by_do,
        back: visit.at(place.back()),
        nothing: changes.is_empty(),
        replaces: values.iter().any(|row| row.replaced.before.is_some()),
        remarks,
        button: button(&values, &tally, uncertain),
        titres: expected.map(|(e, (_, with))| (titres::head(&e.procedure), with)),
        values,
        uncertain,
        released: released(&view, &preview.altered),
        shown: single(after, changes),
        tally,
        points,
    };
    Ok(Page(page).with_status(status))
}

/// The experiment whose unknowns change.
fn experiment_of<'t>(term: &'t Term, changes: &[Change]) -> Option<&'t Experiment> {
    let mut given = changes.iter().filter_map(Change::given_value);
    given.find_map(|given| match given.bottle {
        Bottle::Unknown { experiment, .. } => term.experiment(&experiment),
        Bottle::Lot(_) => None,
    })
}

/// How the value comes about, where one is recorded with what it was made from.
fn single(term: &Term, changes: &[Change]) -> Option<Shown> {
    let given = changes.iter().filter_map(Change::given_value);
    let mut sources = given.filter_map(|given| given.source);
    let (only, None) = (sources.next()?, sources.next()) else {
        return None;
    };
    recorded(term, only).as_ref().and_then(Shown::of)
}

/// What the button says that does it.
fn button(values: &[ValueRow], tally: &Tally, uncertain: bool) -> String {
    let fresh = uncertain && values.iter().all(|row| row.replaced.before.is_none());
    match values.len() {
        1 if fresh => "Enter it".to_owned(),
        n if fresh => format!("Enter all {n}"),
        _ if uncertain || tally.altered > 0 => "Change it and mark anew".to_owned(),
        _ => "Change it".to_owned(),
    }
}

/// The groups of an audit whose value is changed.
fn assigned(changes: &[Change]) -> Vec<GroupName> {
    let given = changes.iter().filter_map(Change::given_value);
    let groups = given.flat_map(|given| {
        let (kinds, code): (&[AuditKind], _) = match given.bottle {
            Bottle::Lot(code) => (
                &[AuditKind::Lot, AuditKind::ExcessLot],
                code.as_str().to_owned(),
            ),
            Bottle::Unknown { code, .. } => (&[AuditKind::Unknown], code.as_str().to_owned()),
        };
        let named = kinds.iter().map(move |kind| GroupName::new(*kind, &code));
        named.collect::<Vec<_>>()
    });
    groups.collect()
}

fn groups(image: &Image, preview: &Preview, names: &[GroupName]) -> Vec<GroupRow> {
    let mut rows = Vec::new();
    for before in image.audits() {
        if !names.iter().any(|name| before.group(name).is_some()) {
            continue;
        }
        let after = preview.term.experiment(&before.experiment);
        let after = after.map(|one| preview.term.audit_of(one, &preview.judged));
        let rows_of = names
            .iter()
            .filter_map(|name| group(image, [before, after.as_ref()?], name));
        rows.extend(rows_of);
    }
    rows
}

fn group(
    image: &Image,
    [before, after]: [&ExperimentAudit; 2],
    name: &GroupName,
) -> Option<GroupRow> {
    let (was, would) = (before.group(name)?, after.group(name)?);
    let experiment = image.term.experiment(&after.experiment)?;
    let bias = |group: &AuditGroup| {
        words::with_uncertainty(group.bias_percent, group.bias_uncertainty_percent)
    };
    Some(GroupRow {
        experiment: experiment.procedure.title.clone(),
        name: name.to_string(),
        n: would.n(),
        before: bias(was),
        after: bias(would),
        verdict: would.verdict.words(),
        off: would.verdict.is_off(),
    })
}

fn tally(altered: &[Altered]) -> Tally {
    let gains = || altered.iter().map(Altered::gain);
    let up = gains().filter(|gain| *gain > Decimal::ZERO);
    let down = gains().filter(|gain| *gain < Decimal::ZERO);
    let waiting = |after: bool| {
        let waits = |one: &&Altered| if after { one.waits().1 } else { one.waits().0 };
        altered.iter().filter(waits).count()
    };
    Tally {
        altered: altered.len(),
        gain: up.clone().count(),
        lose: down.clone().count(),
        most_gained: up.max().map(|most| most.to_string()),
        most_lost: down.min().map(|most| most.abs().to_string()),
        waiting: (waiting(false), waiting(true)),
    }
}

/// Experiments whose students have seen their points already and would see others.
fn released(image: &Image, altered: &[Altered]) -> Vec<String> {
    let experiments = image.term.experiments.iter();
    let concerned = experiments.filter(|experiment| {
        let key = &experiment.key;
        let of_it = |one: &Altered| one.slot.experiment == *key && image.is_released_to(&one.slot);
        altered.iter().any(of_it)
    });
    concerned.map(|e| e.procedure.title.clone()).collect()
}

/// One grade that would be another, in words.
pub fn grade(term: &Term, altered: &Altered) -> GradeRow {
    let student = term.student(&altered.slot.student);
    let (before, after) = altered.points();
    let gain = altered.gain();
    let sign = if gain < Decimal::ZERO {
        "\u{2212}"
    } else {
        "+"
    };
    GradeRow {
        student: student.map(ToString::to_string).unwrap_or_default(),
        id: altered.slot.student.to_string(),
        section: student.map(|s| s.section.to_string()).unwrap_or_default(),
        experiment: altered.slot.experiment.to_string(),
        before: before.to_string(),
        after: after.to_string(),
        change: format!("{sign}{}", gain.abs()),
    }
}
