//! Cells of one sheet of an .xlsx file filled in. Values of formulas that rest on them are taken out, so that whoever
//! opens the file works them out; every other byte of its parts stays as it was.

mod calculation;
mod rewriting;

use std::collections::BTreeMap;

use self::calculation::calculated_on_load;
use self::rewriting::{Rewriting, Wanted, merged_into};
use super::office::formats::Formats;
use super::office::formula::Changed;
use super::office::xml::go_through;
use super::office::{Package, Unreadable};

/// A number for one cell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CellNumber {
    /// From 1.
    pub row: u64,
    /// From 0.
    pub column: usize,
    /// Digits with a decimal point.
    pub number: String,
}

/// Whether a workbook is signed (ISO/IEC 29500-2, 10).
pub fn is_signed(bytes: &[u8]) -> bool {
    Package::open(bytes).is_ok_and(|package| {
        let mut names = package.names();
        names.any(|name| name.starts_with("_xmlsignatures/"))
    })
}

/// How often all formulas are gone through for what rests on what; after that each counts as resting on what changed.
const MOST_ROUNDS: usize = 8;

/// The workbook with numbers put into cells of a sheet, which keep their formats.
///
/// # Errors
/// What stands in the way: a formula, merged cells or a format of dates or percent where a number should go, or a part
/// that is not as expected.
pub fn filled_workbook(
    bytes: &[u8],
    sheet: &str,
    numbers: &[CellNumber],
) -> Result<Vec<u8>, String> {
    filled(bytes, sheet, numbers).map_err(|why| why.to_string())
}

fn filled(bytes: &[u8], sheet: &str, numbers: &[CellNumber]) -> Result<Vec<u8>, Unreadable> {
    let mut package = Package::open(bytes)?;
    let book = package.workbook()?;
    let book = book.ok_or_else(|| "found no workbook in it".to_owned())?;
    let target = book.sheets.iter().position(|one| one.name == sheet);
    let target = target.ok_or_else(|| format!("found no part of the sheet {sheet}"))?;
    let formats = match &book.styles {
        Some(path) => Formats::read(&package.part(path)?.unwrap_or_default())?,
        None => Formats::default(),
    };
    let mut parts = Vec::new();
    for one in &book.sheets {
        parts.push(package.needed(&one.path)?);
    }
    let mut wanted: Wanted<'_> = BTreeMap::new();
    for one in numbers {
        wanted
            .entry(one.row)
            .or_default()
            .insert(one.column, &one.number);
    }
    merged_into(parts.get(target).map_or("", String::as_str), &wanted)?;
    let changed = numbers.iter().map(|one| (target, one.column)).collect();
    let names = book.sheets.iter().map(|one| one.name.to_lowercase());
    let names: Vec<String> = names.collect();
    let changed = resting_on(changed, &names, &parts)?;
    let (mut texts, mut has_formulas) = (BTreeMap::new(), false);
    for (place, xml) in parts.iter().enumerate() {
        let mut rewriting = Rewriting::of(xml, place, &names, changed.clone());
        if place == target {
            rewriting.put(wanted.clone(), &formats);
        }
        go_through(xml, &mut rewriting)?;
        has_formulas |= rewriting.has_formulas;
        let entry = book
            .sheets
            .get(place)
            .and_then(|one| package.place(&one.path));
        if let Some((text, entry)) = rewriting.done()?.zip(entry) {
            texts.insert(entry, text);
        }
    }
    if has_formulas && let Some(entry) = package.place(&book.path) {
        let text = package.needed(&book.path)?;
        texts.insert(entry, calculated_on_load(&text)?);
    }
    package.with(&texts)
}

/// The columns in which something changes: those filled in, and those of formulas that rest on them. None where that is
/// not known.
fn resting_on(
    changed: Changed,
    names: &[String],
    parts: &[String],
) -> Result<Option<Changed>, String> {
    let mut changed = changed;
    for _ in 0..MOST_ROUNDS {
        let before = changed.len();
        for (place, xml) in parts.iter().enumerate() {
            let mut reading = Rewriting::of(xml, place, names, Some(changed));
            go_through(xml, &mut reading)?;
            changed = reading.changed.unwrap_or_default();
        }
        if changed.len() == before {
            return Ok(Some(changed));
        }
    }
    Ok(None)
}
