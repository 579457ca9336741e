//! Curves on the bench form: pasted, or from an instrument's file, and put into the table of points.

use axum::extract::Path;
use axum::http::StatusCode;
use axum::response::Response;

use super::bench::{find, own_form};
use super::bench_page::{Told, form_page};
use super::entry::{Entry, EntryRow, FieldFault, trial_words};
use crate::columns::{Column, MAX_POINTS};
use crate::ids::ExperimentKey;
use crate::language::{Message, message};
use crate::procedure::Procedure;
use crate::schemes::{CurveSignal, Scheme};
use crate::submission::TrialLabel;
use crate::text::read_curve;
use crate::web::upload::Uploads;
use crate::web::{Page, PageResult, StudentVisitor};

/// Name of the field that a curve is pasted into.
pub fn pasted_field(trial: TrialLabel) -> String {
    format!("{trial}.pasted")
}

/// Name of the field of an instrument's file.
pub fn file_field(trial: TrialLabel) -> String {
    format!("{trial}.file")
}

/// The signal that is read beside a volume; none where no curve is read.
pub fn signal_of(procedure: &Procedure) -> Option<CurveSignal> {
    match &procedure.scheme {
        Scheme::Curve(scheme) => Some(scheme.curve.signal),
        _ => None,
    }
}

impl Entry {
    /// Puts what was pasted into the table, in place of what stood there. Says what was put there, and what of it could
    /// not be read, which stays where it was pasted.
    pub fn take_up_curves(&mut self, procedure: &Procedure) -> (Vec<Message>, Vec<FieldFault>) {
        let (mut taken, mut faults) = (Vec::new(), Vec::new());
        let Some(signal) = signal_of(procedure) else {
            return (taken, faults);
        };
        for row in &mut self.rows {
            match row.take_up(signal) {
                None => {}
                Some(Ok(words)) => taken.push(words),
                Some(Err(what)) => faults.push(FieldFault {
                    field: pasted_field(row.trial),
                    label: message!("bench.pasted", trial = trial_words(row.trial)),
                    what,
                }),
            }
        }
        (taken, faults)
    }
}

impl EntryRow {
    fn take_up(&mut self, signal: CurveSignal) -> Option<Result<Message, Message>> {
        if self.pasted.trim().is_empty() {
            return None;
        }
        let curve = match read_curve(&self.pasted, signal.headings(), MAX_POINTS) {
            Ok(curve) => curve,
            Err(what) => return Some(Err(what)),
        };
        self.pasted.clear();
        self.cells.retain(|column, _| !column.is_of_curve());
        let count = curve.points.len();
        for (n, (volume, shown)) in (1..).zip(curve.points) {
            self.cells.insert(Column::CurveVolume(n), volume);
            self.cells.insert(signal.column(n), shown);
        }
        let taken = message!("bench.taken", trial = trial_words(self.trial), n = count);
        Some(Ok(match curve.skipped {
            0 => taken,
            lines => message!("bench.taken-left-out", taken = taken, n = lines),
        }))
    }
}

/// `POST /student/experiments/{key}/bench/curve`: the form with files of instruments, put into its tables. Nothing of them
/// is kept but what the form then shows.
pub async fn upload(
    Path(key): Path<ExperimentKey>,
    visitor: StudentVisitor,
    Uploads { fields, files }: Uploads,
) -> PageResult<Response> {
    let owner = own_form(&visitor, &fields).await?;
    let view = visitor.view().await?;
    let (experiment, _) = find(&view, &key, &visitor)?;
    let mut entry = Entry::of_fields(&experiment.procedure, &fields);
    for row in &mut entry.rows {
        let name = file_field(row.trial);
        if let Some(file) = files.iter().find(|file| file.field == name) {
            row.pasted = as_text(&file.bytes);
        }
    }
    let (taken, faults) = entry.take_up_curves(&experiment.procedure);
    let status = match faults.is_empty() {
        true => StatusCode::OK,
        false => StatusCode::UNPROCESSABLE_ENTITY,
    };
    let told = Told {
        faults,
        taken,
        ..Told::default()
    };
    let page = form_page(&view, experiment, &visitor, entry, owner, told);
    Ok(Page(page).with_status(status))
}

/// What an instrument wrote: UTF-8, UTF-16 with its mark, or else a byte a letter. Numbers are the same in all of them.
fn as_text(bytes: &[u8]) -> String {
    let wide = |of: fn([u8; 2]) -> u16| {
        let pairs = bytes.chunks_exact(2).skip(1);
        let units: Vec<u16> = pairs.map(|pair| of([pair[0], pair[1]])).collect();
        String::from_utf16_lossy(&units)
    };
    match bytes {
        [0xff, 0xfe, ..] => wide(u16::from_le_bytes),
        [0xfe, 0xff, ..] => wide(u16::from_be_bytes),
        _ => match std::str::from_utf8(bytes) {
            Ok(text) => text.to_owned(),
            Err(_) => bytes.iter().map(|byte| char::from(*byte)).collect(),
        },
    }
}
