//! The audit of one experiment as a page: what looks off and what to do, every group with its strip, every result.

use askama::Template;

use super::scores::StandingOut;
use super::strip::{Axis, Strip, Tick};
use super::words;
use crate::course::Experiment;
use crate::ids::ExperimentKey;
use crate::judge::{AuditGroup, AuditKind, DriftDay};
use crate::measure::{plain, to_figures};
use crate::term::{ExperimentAudit, Found, Term};
use crate::truth::Assigned;
use crate::web::Frame;
use crate::web::coordinator::words::aligned;
use crate::words::counted;

#[derive(Template)]
#[template(path = "coordinator/audit-experiment.html")]
pub struct AuditPage {
    frame: Frame,
    key: ExperimentKey,
    title: String,
    groups: usize,
    unit: &'static str,
    suspects: Vec<Suspect>,
    /// Whether groups have a part of their own beside what is explained by others.
    divided: bool,
    ticks: Vec<Tick>,
    kinds: Vec<OfKind>,
    standing_out: Option<StandingOut>,
    results: Vec<ResultRow>,
    /// How many more there are.
    results_left: usize,
}

/// More groups of a kind than this are folded up, unless one looks off.
const MANY: usize = 16;

/// A group that looks off.
struct Suspect {
    name: String,
    found: String,
    ruled_out: Vec<String>,
    elsewhere: Vec<String>,
    what_to_do: String,
    /// The values by day of a lot that drifts.
    days: Vec<DayRow>,
    unit: &'static str,
    proposal: Option<Proposal>,
}

/// A day of a drift.
struct DayRow {
    day: String,
    n: usize,
    found: String,
    line: String,
    value: String,
}

/// A corrected value, as the fields of the form that shows what it would change.
pub struct Proposal {
    pub action: String,
    pub fields: Vec<(&'static str, String)>,
    pub assigned: String,
    pub value: String,
    pub uncertainty: String,
    pub unit: &'static str,
}

/// The groups of one kind.
struct OfKind {
    name: &'static str,
    unit: &'static str,
    has_assigned: bool,
    /// Whether it is shown without being asked for: few groups, or one that is off.
    open: bool,
    rows: Vec<GroupRow>,
    /// What its groups of few results can show.
    seen: Option<String>,
}

struct GroupRow {
    key: String,
    n: usize,
    strip: Strip,
    assigned: Option<String>,
    bias: String,
    own: String,
    chance: String,
    verdict: String,
}

struct ResultRow {
    student: String,
    id: String,
    groups: Vec<String>,
    result: String,
    error: String,
}

impl AuditPage {
    /// The page of one experiment; other experiments are asked what they find with the same lots.
    pub fn of(
        frame: Frame,
        term: &Term,
        experiment: &Experiment,
        audits: &[&ExperimentAudit],
    ) -> Self {
        let key = experiment.key.clone();
        let mut page = Self {
            frame,
            title: experiment.procedure.title.clone(),
            groups: 0,
            unit: experiment.procedure.result.unit.name(),
            suspects: Vec::new(),
            divided: false,
            ticks: Vec::new(),
            kinds: Vec::new(),
            standing_out: None,
            results: Vec::new(),
            results_left: 0,
            key,
        };
        let Some(audit) = audits.iter().find(|audit| audit.experiment == page.key) else {
            return page;
        };
        let errors = audit
            .results
            .iter()
            .map(|found| found.observed.error_percent);
        let errors: Vec<f64> = errors.collect();
        let axis = Axis::of(&audit.groups, &errors);
        page.groups = audit.groups.len();
        page.suspects = audit
            .named()
            .map(|group| suspect(term, experiment, audits, audit, group))
            .collect();
        page.divided = !page.suspects.is_empty();
        page.ticks = axis.ticks();
        let kinds = AuditKind::ALL.into_iter();
        page.kinds = kinds
            .filter_map(|kind| of_kind(experiment, audit, kind, (axis, &errors)))
            .collect();
        page.standing_out = StandingOut::of(term, audit);
        page.results = results(term, audit);
        page.results_left = audit.results.len().saturating_sub(page.results.len());
        page
    }
}

fn suspect(
    term: &Term,
    experiment: &Experiment,
    audits: &[&ExperimentAudit],
    audit: &ExperimentAudit,
    group: &AuditGroup,
) -> Suspect {
    // a bottle belongs to one experiment; a lot may be used in several
    let others = audits
        .iter()
        .filter(|other| other.experiment != audit.experiment && group.name.kind.is_lot());
    let elsewhere = others.filter_map(|other| {
        let same = other.group(&group.name)?;
        let title = &term.experiment(&other.experiment)?.procedure.title;
        let bias = words::with_uncertainty(same.own.percent, same.own.joined_percent);
        let results = counted(same.n(), "result", "results");
        let verdict = same.verdict.words();
        Some(format!("In {title} it {verdict}: {results}, {bias} %."))
    });
    Suspect {
        name: words::capital(&group.name),
        found: crate::words::sentence(&words::found(audit, group, &experiment.procedure)),
        ruled_out: words::ruled_out(&group.verdict),
        elsewhere: elsewhere.collect(),
        what_to_do: words::what_to_do(group, group.n() == audit.results.len()),
        days: days(audit, group),
        unit: words::unit(group.name.kind, &experiment.procedure),
        proposal: proposal(term, experiment, audit, group),
    }
}

fn days(audit: &ExperimentAudit, group: &AuditGroup) -> Vec<DayRow> {
    let by_day = audit.consensus_by_day(group).into_iter();
    let row = |(day, value): (&DriftDay, Assigned)| DayRow {
        day: day.day.clone(),
        n: day.n,
        found: words::signed(day.found_percent),
        line: words::with_uncertainty(day.percent, day.standard_percent),
        value: format!("{} \u{b1} {}", value.value, value.standard_uncertainty),
    };
    by_day.map(row).collect()
}

/// The value that a group's results come to, where it is one of a bottle.
pub fn proposal(
    term: &Term,
    experiment: &Experiment,
    audit: &ExperimentAudit,
    group: &AuditGroup,
) -> Option<Proposal> {
    let consensus = audit.consensus(group)?;
    let held = audit.assigned.get(&group.name)?;
    let code = group.name.key.to_string();
    let value = consensus.value.to_string();
    let uncertainty = consensus.standard_uncertainty.to_string();
    let bias = words::with_uncertainty(group.own.percent, group.own.joined_percent);
    let reason = format!(
        "consensus of {} results, which were {bias} % off",
        group.n()
    );
    let (action, mut fields) = match group.name.kind {
        AuditKind::Unknown => (
            format!("/course/experiments/{}/unknowns/preview", experiment.key),
            vec![("unknown", code), ("true_value", value.clone())],
        ),
        AuditKind::Lot | AuditKind::ExcessLot => {
            let reagent = term.lots.get(code.as_str())?.reagent.clone();
            let fields = vec![
                ("lot", code),
                ("reagent", reagent),
                ("molarity", value.clone()),
            ];
            ("/course/lots/preview".to_owned(), fields)
        }
        AuditKind::Section | AuditKind::Assistant | AuditKind::Instrument | AuditKind::Day => {
            return None;
        }
    };
    fields.extend([("uncertainty", uncertainty.clone()), ("reason", reason)]);
    Some(Proposal {
        action,
        fields,
        assigned: plain(held.value.value),
        value,
        uncertainty,
        unit: words::unit(group.name.kind, &experiment.procedure),
    })
}

fn of_kind(
    experiment: &Experiment,
    audit: &ExperimentAudit,
    kind: AuditKind,
    (axis, errors): (Axis, &[f64]),
) -> Option<OfKind> {
    let groups = audit.groups.iter().filter(|group| group.name.kind == kind);
    let row = |group: &AuditGroup| GroupRow {
        key: group.name.key.to_string(),
        n: group.n(),
        strip: axis.strip(group, errors),
        assigned: audit
            .assigned
            .get(&group.name)
            .map(|held| plain(held.value.value)),
        bias: words::with_uncertainty(group.bias_percent, group.bias_uncertainty_percent),
        own: words::with_uncertainty(group.own.percent, group.own.joined_percent),
        chance: group
            .adjusted_p
            .map(words::share)
            .unwrap_or_else(|| "–".into()),
        verdict: group.verdict.words(),
    };
    let seen = words::what_is_seen(groups.clone());
    let mut rows: Vec<GroupRow> = groups.map(row).collect();
    if rows.is_empty() {
        return None;
    }
    aligned(rows.iter_mut().filter_map(|row| row.assigned.as_mut()));
    Some(OfKind {
        name: kind.words(),
        unit: words::unit(kind, &experiment.procedure),
        has_assigned: rows.iter().any(|row| row.assigned.is_some()),
        open: rows.len() <= MANY || rows.iter().any(|row| row.strip.off),
        rows,
        seen,
    })
}

/// Most results listed one by one; a file holds all of them.
const MOST_RESULTS: usize = 300;

/// Every result, or as many as a page can hold, the furthest off first.
fn results(term: &Term, audit: &ExperimentAudit) -> Vec<ResultRow> {
    let mut results: Vec<&Found> = audit.results.iter().collect();
    let off = |found: &&Found| found.observed.error_percent.abs();
    results.sort_by(|a, b| off(b).total_cmp(&off(a)));
    let row = |found: &Found| ResultRow {
        student: term
            .student(&found.slot.student)
            .map(ToString::to_string)
            .unwrap_or_default(),
        id: found.slot.student.to_string(),
        groups: found
            .observed
            .groups
            .iter()
            .map(ToString::to_string)
            .collect(),
        result: plain(to_figures(found.result, 6)),
        error: words::signed(found.observed.error_percent),
    };
    let mut rows: Vec<ResultRow> = results.into_iter().take(MOST_RESULTS).map(row).collect();
    aligned(rows.iter_mut().map(|row| &mut row.result));
    rows
}
