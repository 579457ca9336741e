//! A form filled in with what the course holds.

use super::sheet::CONDITIONS;
use super::{How, What};
use crate::changes::held_days;
use crate::files::record_entries;
use crate::form::Typed;
use crate::term::Term;
use crate::truth::Bottle;

/// The fields of the form that would enter what a bottle has now; none if there is no record of it.
pub fn filled(what: &What, code: &str, term: &Term) -> Option<Typed> {
    let mut fields = vec![("code".to_owned(), code.to_owned())];
    let mut put = |name: &str, text: String| fields.push((name.to_owned(), text));
    let (bottle, source) = match what {
        What::Lot => {
            let lot = term.lots.get(code)?;
            put("reagent", lot.reagent.clone());
            let source = term.sources.lots.get(code);
            (Bottle::Lot(lot.code.clone()), source?)
        }
        What::Unknown(key) | What::Batch(key) => {
            let unknown = term.unknowns.get(key)?.get(code)?;
            let named = (key.clone(), unknown.code.clone());
            let source = term.sources.unknowns.get(&named);
            (Bottle::unknown(key, &unknown.code), source?)
        }
    };
    for (name, day) in held_days(term, &bottle) {
        put(name, day);
    }
    let entries = record_entries(source);
    let has = |path: &str| entries.iter().any(|(known, _)| known == path);
    let how = if has("standardised.procedure") {
        How::Standardised
    } else if has("prepared.stock_mol_per_L") {
        How::Stock
    } else if has("prepared.total_g") {
        How::Solid
    } else {
        How::Weighed
    };
    put("how", how.name().to_owned());
    let mut rows = 0;
    for (path, text) in &entries {
        if let Some((name, row)) = field_of(path) {
            rows = rows.max(row);
            put(&name, text.clone());
        }
    }
    put("rows", rows.to_string());
    Some(Typed::new(fields))
}

/// The field that a key of a record comes from, and its row.
fn field_of(path: &str) -> Option<(String, usize)> {
    if let Some(key) = path.strip_prefix("standardised.") {
        if let Some((row, column)) = key
            .strip_prefix("titrations.")
            .and_then(|rest| rest.split_once('.'))
        {
            let named = (column != "trial").then(|| format!("{column}.{row}"))?;
            return Some((named, row.parse().ok()?));
        }
        return (key == "procedure").then(|| ("procedure".to_owned(), 0));
    }
    let key = path.strip_prefix("prepared.")?;
    if let Some((row, key)) = key
        .strip_prefix("dilutions.")
        .and_then(|rest| rest.split_once('.'))
    {
        let name = match key {
            "pipette" | "burette" => "taken",
            "volume_mL" => "volume",
            "flask" => "flask",
            _ => return None,
        };
        return Some((format!("{name}.{row}"), row.parse().ok()?));
    }
    let name = match key {
        "weighed_g" => "weighed",
        "total_g" => "total",
        "purity_half_width" => "purity_u",
        "stock_mol_per_L" => "stock",
        "stock_standard_uncertainty_mol_per_L" => "stock_u",
        "balance" | "formula" | "purity" | "flask" => key,
        _ => {
            let mut conditions = CONDITIONS.iter();
            conditions.find(|(.., known)| *known == key)?.0
        }
    };
    Some((name.to_owned(), 0))
}
