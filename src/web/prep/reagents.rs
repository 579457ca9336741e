//! What the prep room makes for an experiment: every reagent with its recipe, scaled to the class.

use askama::Template;
use axum::response::IntoResponse;

use crate::web::at::ExperimentAt;
use crate::web::{Frame, Page, PageResult, PrepVisitor, QueryFields};

#[derive(Template)]
#[template(path = "prep/reagents.html")]
struct ReagentsPage {
    frame: Frame,
    title: String,
    back: String,
    students: u32,
    reagents: Vec<ReagentCard>,
}

struct ReagentCard {
    name: String,
    strength: String,
    /// For one student.
    for_one: String,
    amount: String,
    ingredients: Vec<String>,
    note: String,
}

/// Most students a batch is scaled to.
const MOST_STUDENTS: u32 = 5000;

/// `GET /prep/experiments/{key}/reagents`: `?students=` for another number than the roster has.
pub async fn page(
    visitor: PrepVisitor,
    key: ExperimentAt,
    query: QueryFields,
) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let term = &view.term;
    let experiment = key.of(term)?;
    let enrolled = u32::try_from(term.students.len()).unwrap_or(MOST_STUDENTS);
    let wanted = query.0.text("students").trim().parse::<u32>().ok();
    let students = wanted.unwrap_or(enrolled).clamp(1, MOST_STUDENTS);
    let card = |reagent: &crate::procedure::Reagent| {
        let batch = reagent.for_class(students);
        let ingredients = batch.ingredients.iter();
        ReagentCard {
            name: reagent.name.clone(),
            strength: reagent.strength.clone(),
            for_one: reagent.for_one.words(),
            amount: batch.amount.words(),
            ingredients: ingredients
                .map(|one| format!("{} {}", one.amount.words(), one.what))
                .collect(),
            note: reagent.note.clone(),
        }
    };
    Ok(Page(ReagentsPage {
        frame: visitor.frame("Reagents"),
        title: experiment.procedure.title.clone(),
        back: format!("/prep/experiments/{key}"),
        students,
        reagents: experiment.procedure.reagents.iter().map(card).collect(),
    }))
}
