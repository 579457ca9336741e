//! Cells of one sheet of an .xlsx file filled in; every other byte of its parts stays as it was.

use std::io::{Cursor, Read as _, Write as _};

use zip::write::SimpleFileOptions;
use zip::{ZipArchive, ZipWriter};

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

/// The workbook with numbers put into cells of a sheet, which keep their formats.
///
/// # Errors
/// What stands in the way: a formula or merged cells where a number should go, or a part that is not as expected.
pub fn filled_workbook(
    bytes: &[u8],
    sheet: &str,
    numbers: &[CellNumber],
) -> Result<Vec<u8>, String> {
    let mut zip = ZipArchive::new(Cursor::new(bytes)).map_err(|why| why.to_string())?;
    let book = part(&mut zip, "xl/workbook.xml")?;
    let relations = part(&mut zip, "xl/_rels/workbook.xml.rels")?;
    let path = path_of(&book, &relations, sheet)
        .ok_or_else(|| format!("found no part of the sheet {sheet}"))?;
    let mut xml = part(&mut zip, &path)?;
    let merged = merged(&xml);
    for one in numbers {
        let at = reference(one.row, one.column);
        let within = |range: &[u64; 4]| {
            let column = one.column as u64;
            (range[0]..=range[2]).contains(&column) && (range[1]..=range[3]).contains(&one.row)
        };
        if merged.iter().any(within) {
            return Err(format!(
                "found merged cells at {at}, expected a cell of its own"
            ));
        }
        put(&mut xml, one, &at)?;
    }
    let mut changed = vec![(path, xml)];
    let names: Vec<String> = zip.file_names().map(str::to_owned).collect();
    let mut has_formulas = false;
    for name in names
        .iter()
        .filter(|name| name.starts_with("xl/worksheets/"))
    {
        has_formulas |= part(&mut zip, name).is_ok_and(|xml| xml.contains("<f"));
    }
    if has_formulas {
        // sums over what was filled in are worked out when the file is opened
        changed.push(("xl/workbook.xml".to_owned(), calculated_on_load(&book)));
    }
    let mut out = ZipWriter::new(Cursor::new(Vec::new()));
    for place in 0..zip.len() {
        let entry = zip.by_index_raw(place).map_err(|why| why.to_string())?;
        match changed.iter().find(|(path, _)| path == entry.name()) {
            None => out.raw_copy_file(entry).map_err(|why| why.to_string())?,
            Some((path, xml)) => {
                let options = SimpleFileOptions::default()
                    .compression_method(zip::CompressionMethod::Deflated)
                    .last_modified_time(entry.last_modified().unwrap_or_default());
                out.start_file(path.as_str(), options)
                    .map_err(|why| why.to_string())?;
                out.write_all(xml.as_bytes())
                    .map_err(|why| why.to_string())?;
            }
        }
    }
    let done = out.finish().map_err(|why| why.to_string())?;
    Ok(done.into_inner())
}

fn part(zip: &mut ZipArchive<Cursor<&[u8]>>, path: &str) -> Result<String, String> {
    const MOST: u64 = 64 << 20;
    let entry = zip.by_name(path).map_err(|why| format!("{path}: {why}"))?;
    let mut text = String::new();
    let read = entry.take(MOST).read_to_string(&mut text);
    read.map_err(|why| format!("{path}: {why}"))?;
    Ok(text)
}

/// The part that a sheet of that name is.
fn path_of(book: &str, relations: &str, sheet: &str) -> Option<String> {
    let mut sheets = elements(book, "sheet");
    let of_name = |tag: &&str| attribute(tag, "name").is_some_and(|name| unescaped(name) == sheet);
    let id = attribute(sheets.find(of_name)?, "r:id")?;
    let mut all = elements(relations, "Relationship");
    let target = attribute(all.find(|tag| attribute(tag, "Id") == Some(id))?, "Target")?;
    Some(match target.strip_prefix('/') {
        Some(path) => path.to_owned(),
        None => format!("xl/{target}"),
    })
}

/// The start tags of a name.
fn elements<'x>(xml: &'x str, name: &str) -> impl Iterator<Item = &'x str> {
    let start = format!("<{name} ");
    let places: Vec<usize> = xml.match_indices(&start).map(|(at, _)| at).collect();
    places.into_iter().filter_map(move |at| {
        let rest = xml.get(at..)?;
        rest.get(..=rest.find('>')?)
    })
}

fn attribute<'x>(tag: &'x str, name: &str) -> Option<&'x str> {
    let from = tag
        .find(&format!(" {name}=\""))?
        .checked_add(name.len())?
        .checked_add(3)?;
    tag.get(from..)?.split('"').next()
}

fn unescaped(text: &str) -> String {
    let text = text
        .replace("&lt;", "<")
        .replace("&gt;", ">")
        .replace("&quot;", "\"");
    text.replace("&apos;", "'").replace("&amp;", "&")
}

/// `D5`.
fn reference(row: u64, column: usize) -> String {
    let mut letters = Vec::new();
    let mut rest = column.saturating_add(1);
    while rest > 0 {
        let digit = (rest - 1) % 26;
        letters.push(char::from(
            b'A'.saturating_add(u8::try_from(digit).unwrap_or(0)),
        ));
        rest = (rest - 1) / 26;
    }
    letters.reverse();
    format!("{}{row}", letters.into_iter().collect::<String>())
}

/// Column, from 0, and row of `D5`.
fn place(reference: &str) -> Option<(u64, u64)> {
    let at = reference.find(|c: char| c.is_ascii_digit())?;
    let (letters, row) = reference.split_at_checked(at)?;
    let column = letters.bytes().try_fold(0_u64, |sum, letter| {
        let digit = u64::from(letter.checked_sub(b'A')?).checked_add(1)?;
        sum.checked_mul(26)?.checked_add(digit)
    })?;
    Some((column.checked_sub(1)?, row.parse().ok()?))
}

/// First column and row, last column and row of each range of merged cells.
fn merged(xml: &str) -> Vec<[u64; 4]> {
    let range = |tag: &str| {
        let (from, to) = attribute(tag, "ref")?.split_once(':')?;
        let ((a, b), (c, d)) = (place(from)?, place(to)?);
        Some([a, b, c, d])
    };
    elements(xml, "mergeCell").filter_map(range).collect()
}

/// Puts a number into a cell, which is made if it is not there.
fn put(xml: &mut String, one: &CellNumber, at: &str) -> Result<(), String> {
    let lacking = || format!("found no row {} in the sheet", one.row);
    let tag = format!(" r=\"{}\"", one.row);
    let mut rows = xml.match_indices("<row ").map(|(start, _)| start);
    let start = rows
        .find(|start| {
            let rest = xml.get(*start..).unwrap_or_default();
            let head = rest.split('>').next().unwrap_or_default();
            format!("{head} ").contains(&format!("{tag} ")) || head.contains(&format!("{tag}/"))
        })
        .ok_or_else(lacking)?;
    let open = xml
        .get(start..)
        .and_then(|rest| rest.find('>'))
        .ok_or_else(lacking)?;
    let open = start.saturating_add(open);
    let number = &one.number;
    if xml.get(..open).is_some_and(|head| head.ends_with('/')) {
        let cell = format!("><c r=\"{at}\"><v>{number}</v></c></row>");
        xml.replace_range(open.saturating_sub(1)..=open, &cell);
        return Ok(());
    }
    let end = xml
        .get(open..)
        .and_then(|rest| rest.find("</row>"))
        .ok_or_else(lacking)?;
    let end = open.saturating_add(end);
    let mut from = open.saturating_add(1);
    while let Some(found) = xml.get(from..end).and_then(|rest| rest.find("<c ")) {
        let cell = from.saturating_add(found);
        let close = xml
            .get(cell..end)
            .and_then(|rest| rest.find('>'))
            .ok_or_else(lacking)?;
        let close = cell.saturating_add(close);
        let head = xml.get(cell..close).unwrap_or_default().to_owned();
        let is_empty = head.ends_with('/');
        let last = match is_empty {
            true => close.saturating_add(1),
            false => {
                let rest = xml.get(close..end).and_then(|rest| rest.find("</c>"));
                close
                    .saturating_add(rest.ok_or_else(lacking)?)
                    .saturating_add(4)
            }
        };
        let here = attribute(&head, "r")
            .and_then(place)
            .map(|(column, _)| column);
        let here =
            here.ok_or_else(|| format!("found a cell without a place in row {}", one.row))?;
        if here > one.column as u64 {
            xml.insert_str(cell, &format!("<c r=\"{at}\"><v>{number}</v></c>"));
            return Ok(());
        }
        if here == one.column as u64 {
            if xml.get(cell..last).is_some_and(|cell| cell.contains("<f")) {
                return Err(format!(
                    "found a formula at {at}, expected a cell without one"
                ));
            }
            let style = attribute(&head, "s");
            let style = style
                .map(|style| format!(" s=\"{style}\""))
                .unwrap_or_default();
            xml.replace_range(
                cell..last,
                &format!("<c r=\"{at}\"{style}><v>{number}</v></c>"),
            );
            return Ok(());
        }
        from = last;
    }
    xml.insert_str(end, &format!("<c r=\"{at}\"><v>{number}</v></c>"));
    Ok(())
}

fn calculated_on_load(book: &str) -> String {
    if book.contains("fullCalcOnLoad") {
        return book.to_owned();
    }
    match book.find("<calcPr") {
        Some(_) => book.replacen("<calcPr", "<calcPr fullCalcOnLoad=\"1\"", 1),
        None => {
            let after = ["</definedNames>", "</externalReferences>", "</sheets>"];
            let after = after
                .into_iter()
                .find(|tag| book.contains(tag))
                .unwrap_or("</sheets>");
            book.replacen(after, &format!("{after}<calcPr fullCalcOnLoad=\"1\"/>"), 1)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn put_into(xml: &str, row: u64, column: usize) -> Result<String, String> {
        let mut xml = xml.to_owned();
        let one = CellNumber {
            row,
            column,
            number: "17.5".to_owned(),
        };
        put(&mut xml, &one, &reference(row, column)).map(|()| xml)
    }

    #[test]
    fn cells_are_made_and_replaced_where_they_belong() {
        let row = r#"<row r="1" spans="1:4"><c r="A1" s="2" t="s"><v>0</v></c><c r="D1"/></row><row r="11"/>"#;
        let put_at = |column| put_into(row, 1, column).expect("is put");
        assert_eq!(
            put_at(0),
            r#"<row r="1" spans="1:4"><c r="A1" s="2"><v>17.5</v></c><c r="D1"/></row><row r="11"/>"#
        );
        assert!(put_at(1).contains(r#"</c><c r="B1"><v>17.5</v></c><c r="D1"/>"#));
        assert!(put_at(3).contains(r#"<c r="D1"><v>17.5</v></c></row>"#));
        assert!(put_at(4).contains(r#"<c r="D1"/><c r="E1"><v>17.5</v></c></row>"#));
        assert!(
            put_into(row, 11, 27)
                .expect("is put")
                .ends_with(r#"<row r="11"><c r="AB11"><v>17.5</v></c></row>"#)
        );
        assert!(put_into(row, 2, 0).is_err());
        assert_eq!(
            calculated_on_load("<sheets/></sheets><extLst/>"),
            "<sheets/></sheets><calcPr fullCalcOnLoad=\"1\"/><extLst/>"
        );
        assert_eq!(
            calculated_on_load("<calcPr calcId=\"9\"/>"),
            "<calcPr fullCalcOnLoad=\"1\" calcId=\"9\"/>"
        );
        let formula = r#"<row r="1"><c r="A1"><f>B1*2</f><v>4</v></c></row>"#;
        assert!(
            put_into(formula, 1, 0)
                .expect_err("is a formula")
                .contains("formula at A1")
        );
    }
}
