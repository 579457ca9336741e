//! Unknowns made in one go from one stock: a line for each bottle.

use super::How;
use super::sheet::Sheet;
use crate::files::RecordText;
use crate::ids::ExperimentKey;
use crate::measure::{Class, Glassware, GlasswareKind};
use crate::text::Fault;

/// The records of all bottles, each with the stock in it, so that each stands for itself.
pub fn lines(sheet: &Sheet, record: &mut RecordText, key: &ExperimentKey) {
    for (number, cells) in cells(sheet.typed.text("many")) {
        let field = format!("many {number}");
        let at = |place: usize| cells.get(place).map_or("", String::as_str);
        sheet.unknown(record, key, at(0), &field);
        if sheet.how == How::Solid {
            sheet.prepared(record, "unknown", Some(([at(1), at(2)], &field)));
        } else {
            sheet.prepared(record, "unknown", None);
            let flask = sheet.typed.text("made_up");
            match pipette_of(sheet, at(1)) {
                Some(pipette) => {
                    let fields = [&field, &field, "made_up"];
                    sheet.part(record, "unknown", [&pipette, "", flask], fields);
                }
                None => {
                    let taken = sheet.typed.text("taken");
                    let fields = ["taken", &field, "made_up"];
                    sheet.part(record, "unknown", [taken, at(1), flask], fields);
                }
            }
        }
    }
}

/// What is wrong with the lines before anything is computed: none at all, or too few or many cells.
pub fn miscounted(sheet: &Sheet) -> Vec<String> {
    let (expected, what) = if sheet.how == How::Solid {
        (3, "code, g weighed, g in all")
    } else {
        (2, "code and mL of the stock")
    };
    let all = cells(sheet.typed.text("many"));
    if all.is_empty() {
        return vec!["found nothing, expected a line for each bottle".to_owned()];
    }
    let wrong = all.iter().filter(|(_, cells)| cells.len() != expected);
    wrong
        .map(|(number, cells)| {
            let found = cells.len();
            format!("line {number}: found {found} cells, expected {expected}: {what}")
        })
        .collect()
}

/// The sentence of a fault with the line of the list it belongs to, if it belongs to one.
pub fn of_line(field: &str, fault: &Fault) -> Option<String> {
    let number = field.strip_prefix("many ")?;
    Some(format!("line {number}: {}", fault.what))
}

/// Lines that say something, numbered from 1, taken apart at tabs, semicolons and commas (a decimal comma stays where
/// another mark parts the cells).
fn cells(text: &str) -> Vec<(usize, Vec<String>)> {
    let lines = (1_usize..).zip(text.lines());
    let said = lines.filter(|(_, line)| !line.trim().is_empty());
    said.map(|(number, line)| {
        let mark = ['\t', ';'].into_iter().find(|mark| line.contains(*mark));
        let cells = line.split(mark.unwrap_or(','));
        (number, cells.map(|cell| cell.trim().to_owned()).collect())
    })
    .collect()
}

/// The key of the pipette that takes a volume, where pipettes were chosen; a volume that none of them has is left to be
/// found fault with.
fn pipette_of(sheet: &Sheet, volume: &str) -> Option<String> {
    let class = match sheet.typed.text("taken") {
        "pipettes-a" => Class::A,
        "pipettes-b" => Class::B,
        _ => return None,
    };
    let read = crate::text::decimal(&volume.replace(',', "."));
    let fits = |piece: &&Glassware| {
        piece.kind() == GlasswareKind::Pipette
            && piece.class() == Some(class)
            && read.as_ref().is_ok_and(|v| *v == piece.capacity())
    };
    let found = sheet.term.glassware.iter().find(fits);
    let none = || format!("pipette of {volume} mL, class {class:?}");
    Some(found.map_or_else(none, |piece| piece.key().to_owned()))
}

#[cfg(test)]
mod tests {
    use super::cells;

    #[test]
    fn lines_are_taken_apart() {
        let text = "U01, 31.20\n\n U02;31,20\nU03\t30\n";
        let read: Vec<(usize, Vec<String>)> = cells(text);
        let row = |n, a: &str, b: &str| (n, vec![a.to_owned(), b.to_owned()]);
        assert_eq!(
            read,
            [
                row(1, "U01", "31.20"),
                row(3, "U02", "31,20"),
                row(4, "U03", "30")
            ]
        );
    }
}
