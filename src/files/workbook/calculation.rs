//! A workbook told to work out its formulas when it is opened (ISO/IEC 29500-1, 18.2.2).

use std::ops::Range;

use quick_xml::events::BytesStart;

use crate::files::office::xml::{Takes, attribute, go_through};

const SET: &str = " fullCalcOnLoad=\"1\"";

/// The workbook's XML so that its formulas are worked out on opening.
pub fn calculated_on_load(book: &str) -> Result<String, String> {
    let mut places = Places::default();
    go_through(book, &mut places)?;
    let with = |at: usize, text: &str| {
        let (before, after) = book.split_at_checked(at).unwrap_or((book, ""));
        format!("{before}{text}{after}")
    };
    Ok(match (places.set, places.calculation, places.before) {
        (Some(true), ..) => book.to_owned(),
        // a program that was told not to is told otherwise
        (Some(false), Some(_), _) => book
            .replace("fullCalcOnLoad=\"0\"", "fullCalcOnLoad=\"1\"")
            .replace("fullCalcOnLoad=\"false\"", "fullCalcOnLoad=\"1\""),
        (_, Some(at), _) => with(at, SET),
        (_, None, Some(at)) => with(at, &format!("<{}calcPr{SET}/>", places.prefix)),
        (_, None, None) => return Err("found no sheets in the workbook".to_owned()),
    })
}

#[derive(Default)]
struct Places {
    /// What is said already.
    set: Option<bool>,
    /// After the name of the element that says how to calculate.
    calculation: Option<usize>,
    /// Where it would stand.
    before: Option<usize>,
    prefix: String,
}

impl Takes for Places {
    fn start(&mut self, element: &BytesStart, at: Range<usize>) -> Result<(), String> {
        let name = element.name();
        if element.local_name().as_ref() == b"calcPr" {
            let set = attribute(element, "fullCalcOnLoad")?;
            self.set = set.map(|set| matches!(set.as_str(), "1" | "true" | "on"));
            let name = name.as_ref().len().saturating_add(1);
            self.calculation = Some(at.start.saturating_add(name));
        } else if element.local_name().as_ref() == b"workbook" {
            let name = String::from_utf8_lossy(name.as_ref()).into_owned();
            self.prefix = name.strip_suffix("workbook").unwrap_or_default().to_owned();
        }
        Ok(())
    }

    fn end(&mut self, name: &[u8], at: Range<usize>) -> Result<(), String> {
        // the elements before it, in their order
        if matches!(
            name,
            b"sheets" | b"functionGroups" | b"externalReferences" | b"definedNames"
        ) {
            self.before = Some(at.end);
        }
        Ok(())
    }

    fn said(&mut self, _: &str) {}
}
