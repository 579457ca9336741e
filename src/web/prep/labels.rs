//! Labels for bottles: a code, a QR picture and a line of caution, on sheets of labels by their measures. No value of an
//! unknown is on them, and of a lot only what its procedures call it.

use askama::Template;
use axum::response::IntoResponse;

use super::pages::day;
use super::qr::{Qr, bottle_address, qr};
use crate::chem::{Formula, printed};
use crate::ids::{LotCode, UnknownCode};
use crate::term::Term;
use crate::truth::{Bottle, Lot};
use crate::web::at::ExperimentAt;
use crate::web::{Fields, Frame, Page, PageResult, PrepVisitor, PublicAddress, QueryFields};

#[derive(Template)]
#[template(path = "prep/labels.html")]
struct LabelsPage {
    frame: Frame,
    back: String,
    back_words: String,
    stock: &'static Stock,
    stocks: &'static [Stock],
    first: usize,
    copies: String,
    may_copy_issued: bool,
    hazard: String,
    codes: Vec<(String, bool)>,
    pages: Vec<Vec<Option<Label>>>,
    count: usize,
}

/// A kind of label sheet.
pub struct Stock {
    key: &'static str,
    words: &'static str,
    style: &'static str,
    per_sheet: usize,
}

/// The sheets there are.
const STOCKS: [Stock; 3] = [
    Stock {
        key: "a4-70x36",
        words: "A4, 3 × 8 of 70 × 36 mm",
        style: "labels-a4-70x36.css",
        per_sheet: 24,
    },
    Stock {
        key: "a4-63x38",
        words: "A4, 3 × 7 of 63.5 × 38.1 mm",
        style: "labels-a4-63x38.css",
        per_sheet: 21,
    },
    Stock {
        key: "letter-67x25",
        words: "Letter, 3 × 10 of 2⅝ × 1 inch",
        style: "labels-letter-67x25.css",
        per_sheet: 30,
    },
];

/// Most labels at a time.
const MOST: usize = 1200;

#[derive(Clone)]
struct Label {
    code: String,
    lines: Vec<String>,
    hazard: String,
    qr: Option<std::sync::Arc<Qr>>,
}

/// `GET /prep/experiments/{key}/labels`: `?sheet=`, `?first=`, `?copies=` (a number, or `issued`), `?hazard=`, `?codes[]=`.
pub async fn unknowns(
    visitor: PrepVisitor,
    key: ExperimentAt,
    PublicAddress(server): PublicAddress,
    query: QueryFields,
) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let term = &view.term;
    let experiment = key.of(term)?;
    let title = &experiment.procedure.title;
    let cautions = &experiment.procedure.text.cautions;
    let usual = cautions.first().cloned().unwrap_or_default();
    let hazard = query.0.one("hazard").map_or(usual, |h| h.trim().to_owned());
    let label = |code: &str| {
        let life = term
            .shelf
            .get(&Bottle::unknown(&key, &UnknownCode::new(code)));
        let expires = life.and_then(|life| life.expires);
        let mut lines = vec![title.clone()];
        lines.extend(expires.map(|at| format!("use until {}", day(Some(at)))));
        Label {
            code: code.to_owned(),
            lines,
            hazard: hazard.clone(),
            qr: qr(&bottle_address(&server, &key, code)).map(Into::into),
        }
    };
    let codes: Vec<&UnknownCode> = term
        .unknowns
        .get(&*key)
        .into_iter()
        .flat_map(|u| u.keys())
        .collect();
    let issued = |code: &str| {
        let given = term.issued.iter();
        given
            .filter(|(slot, given)| slot.experiment == *key && *given == code)
            .count()
    };
    let wanted = wanted(&query.0, &codes);
    let labels = wanted
        .iter()
        .filter(|(_, wanted)| *wanted)
        .flat_map(|(code, _)| {
            let copies = match query.0.text("copies") {
                "issued" => issued(code),
                number => number.parse().unwrap_or(1),
            };
            std::iter::repeat_n(label(code), copies.min(MOST))
        });
    let labels: Vec<Label> = labels.take(MOST).collect();
    let back = (format!("/prep/experiments/{key}"), title.clone());
    Ok(page(
        &query.0,
        visitor.frame("Labels"),
        back,
        (wanted, labels),
        (true, hazard.clone()),
    ))
}

pub async fn lots(visitor: PrepVisitor, query: QueryFields) -> PageResult<impl IntoResponse> {
    let view = visitor.view().await?;
    let term = &view.term;
    let codes: Vec<&LotCode> = term.lots.keys().collect();
    let wanted = wanted(&query.0, &codes);
    let hazard = query.0.text("hazard").to_owned();
    let labels = wanted
        .iter()
        .filter(|(_, wanted)| *wanted)
        .flat_map(|(code, _)| {
            let copies: usize = query.0.text("copies").parse().unwrap_or(1);
            let label = term
                .lots
                .get(code.as_str())
                .map(|lot| of_lot(term, lot, &hazard));
            std::iter::repeat_n(label, copies.min(MOST)).flatten()
        });
    let labels: Vec<Label> = labels.take(MOST).collect();
    let back = ("/prep/lots".to_owned(), "Lots".to_owned());
    Ok(page(
        &query.0,
        visitor.frame("Labels"),
        back,
        (wanted, labels),
        (false, hazard.clone()),
    ))
}

fn of_lot(term: &Term, lot: &Lot, hazard: &str) -> Label {
    let life = term.shelf.get(&Bottle::Lot(lot.code.clone()));
    let life = life.copied().unwrap_or_default();
    let nominal = nominal(term, lot).map(|m| format!("{m} mol/L nominal"));
    let mut lines = vec![printed(&lot.reagent)];
    lines.extend(nominal);
    lines.extend(life.made.map(|at| format!("made {}", day(Some(at)))));
    lines.extend(
        life.expires
            .map(|at| format!("use until {}", day(Some(at)))),
    );
    Label {
        code: lot.code.to_string(),
        lines,
        hazard: hazard.to_owned(),
        qr: None,
    }
}

/// What procedures call a lot of that reagent, if they agree.
fn nominal(term: &Term, lot: &Lot) -> Option<String> {
    let reagent = Formula::parse(&lot.reagent).ok()?;
    let mut called: Vec<String> = Vec::new();
    for experiment in &term.experiments {
        let procedure = &experiment.procedure;
        for (species, nominal) in procedure.lot_reagents() {
            let text = nominal.to_string();
            if *species == reagent && !called.contains(&text) {
                called.push(text);
            }
        }
    }
    // two procedures that call it by two molarities use two lots: the nearer one is meant
    let value = crate::measure::as_f64(lot.molarity.value);
    let off = |text: &String| {
        text.parse::<f64>()
            .map_or(f64::MAX, |n| (n / value).ln().abs())
    };
    called.into_iter().min_by(|a, b| off(a).total_cmp(&off(b)))
}

/// Each code with whether its label is wanted: all, unless some are chosen.
fn wanted<T: AsRef<str>>(query: &Fields, codes: &[&T]) -> Vec<(String, bool)> {
    let chosen: Vec<&str> = query.list("codes[]").collect();
    let is_wanted = |code: &str| chosen.is_empty() || chosen.contains(&code);
    codes
        .iter()
        .map(|code| (code.as_ref().to_owned(), is_wanted(code.as_ref())))
        .collect()
}

fn page(
    query: &Fields,
    frame: Frame,
    (back, back_words): (String, String),
    (codes, labels): (Vec<(String, bool)>, Vec<Label>),
    (may_copy_issued, hazard): (bool, String),
) -> Page<LabelsPage> {
    let asked = query.text("sheet");
    let stock = STOCKS.iter().find(|stock| stock.key == asked);
    let stock = stock.unwrap_or(&STOCKS[0]);
    let first = query.text("first").parse().unwrap_or(1);
    let first: usize = first;
    let first = first.clamp(1, stock.per_sheet);
    let count = labels.len();
    let used = std::iter::repeat_n(None, first - 1);
    let places: Vec<Option<Label>> = used.chain(labels.into_iter().map(Some)).collect();
    let copies = query.text("copies");
    Page(LabelsPage {
        frame,
        back,
        back_words,
        stock,
        stocks: &STOCKS,
        first,
        copies: if copies.is_empty() { "1" } else { copies }.to_owned(),
        may_copy_issued,
        hazard,
        codes,
        pages: if count == 0 {
            Vec::new()
        } else {
            places.chunks(stock.per_sheet).map(<[_]>::to_vec).collect()
        },
        count,
    })
}
