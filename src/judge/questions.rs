//! What the server says of readings at once: what cannot be, and what looks odd.

use rust_decimal::Decimal;

use crate::columns::Column;
use crate::language::{Message, message, number};
use crate::measure::{GlasswareKind, plain, to_figures};
use crate::procedure::{Procedure, SampleBy};
use crate::schemes::Scheme;
use crate::submission::{Delivery, HandIn, Piece, Titration, TrialLabel};
use crate::workup::work_up_readings;

/// Something about one reading: refused, or a question the student may stand by.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Question {
    /// Place of the titration in the hand-in, from 0.
    pub row: usize,
    pub column: Column,
    /// What was found and what was expected, for the student.
    pub text: Message,
}

impl Question {
    /// Names the question, so that standing by it can be recorded.
    pub fn id(&self) -> String {
        format!("{}:{}", self.row.saturating_add(1), self.column)
    }
}

/// Whether a procedure has rows of that kind.
pub fn row_label(procedure: &Procedure, trial: TrialLabel) -> Result<TrialLabel, String> {
    let TrialLabel::Standard(number) = trial else {
        return Ok(trial);
    };
    let standards = procedure.scheme.standards().len();
    if standards == 0 {
        Err(format!(
            "found {trial}, expected 1, 2, \u{2026}, rough or blank: the procedure has no standards"
        ))
    } else if number as usize > standards {
        Err(format!(
            "found {trial}, expected standard-1 to standard-{standards}"
        ))
    } else {
        Ok(trial)
    }
}

/// What cannot be a reading of its glassware: outside the scale, a burette end below its start, nothing weighed out.
pub fn refusals(procedure: &Procedure, row: usize, titration: &Titration) -> Vec<Question> {
    let mut found = Vec::new();
    let mut refuse = |column: Column, text: Message| found.push(Question { row, column, text });
    for column in Column::with_notes(procedure, titration.fillings()) {
        let Some(reading) = column.get(titration) else {
            continue;
        };
        let piece = column.glassware(procedure);
        let (value, unit) = (reading.value(), piece.kind().unit());
        if !piece.is_on_scale(value) {
            let piece = piece.size();
            let text = match unit {
                "" => message!("reading.past-end", reading = reading, piece = piece),
                unit => {
                    message!(
                        "reading.past-end-unit",
                        reading = reading,
                        unit = unit,
                        piece = piece
                    )
                }
            };
            refuse(column, text);
        } else if value.is_zero()
            && !matches!(
                piece.kind(),
                GlasswareKind::Burette
                    | GlasswareKind::PistonBurette
                    | GlasswareKind::Spectrophotometer
                    | GlasswareKind::Millivoltmeter
                    | GlasswareKind::ConductanceMeter
            )
            && column != Column::SampleAfter
        {
            refuse(
                column,
                message!("reading.zero", reading = reading, unit = unit),
            );
        }
    }
    for (column, piece) in deliveries(titration) {
        if piece.end.value() < piece.start.value() {
            let (end, start) = (&piece.end, &piece.start);
            refuse(
                column,
                message!("reading.end-below-start", end = *end, start = *start),
            );
        }
    }
    let first_piece = titration.pieces(Delivery::First).next();
    if let (Some(first), Some(piece)) = (Column::FirstEndpoint.get(titration), first_piece)
        && !(piece.start.value()..=piece.end.value()).contains(&first.value())
    {
        refuse(
            Column::FirstEndpoint,
            message!(
                "reading.first-outside",
                reading = first,
                start = piece.start,
                end = piece.end
            ),
        );
    }
    let last_piece = titration.pieces(Delivery::First).last();
    if let (Some(before), Some(piece)) = (Column::BeforeLastDrop.get(titration), last_piece)
        && !(piece.start.value()..=piece.end.value()).contains(&before.value())
    {
        refuse(
            Column::BeforeLastDrop,
            message!(
                "reading.last-outside",
                reading = before,
                start = piece.start,
                end = piece.end
            ),
        );
    }
    // a crucible may lose a little in a blank, not in a trial
    let needs_content = titration.trial != TrialLabel::Blank;
    for (column, empty) in [
        (Column::CrucibleFull, Column::Crucible),
        (Column::CrucibleHeated, Column::Crucible),
        (Column::VesselFull, Column::Vessel),
        (Column::VesselWater, Column::Vessel),
    ] {
        if let (Some(empty), Some(full)) = (empty.get(titration), column.get(titration))
            && full.value() <= empty.value()
            && needs_content
        {
            refuse(
                column,
                message!("reading.full-not-more", full = full, empty = empty),
            );
        }
    }
    let weighed = [Column::SampleBefore, Column::SampleAfter].map(|c| c.get(titration));
    if let [Some(before), Some(after)] = weighed
        && after.value() >= before.value()
    {
        refuse(
            Column::SampleAfter,
            message!("reading.after-not-less", after = after, before = before),
        );
    }
    found
}

/// What looks odd. The student may stand by it; it is then recorded as confirmed.
pub fn questions(procedure: &Procedure, hand_in: &HandIn) -> Vec<Question> {
    let mut found = impossible(procedure, hand_in);
    let mut last_end: Option<Decimal> = None;
    for (row, titration) in hand_in.titrations.iter().enumerate() {
        if procedure.trials.prompt_decimals {
            found.extend(
                written_otherwise(procedure, titration).map(|(column, expected)| {
                    let reading = column.get(titration).map_or("", |r| r.written());
                    let piece = column.glassware(procedure).size();
                    let decimals = message!("count.decimal", n = expected);
                    let text = message!(
                        "reading.decimals",
                        reading = number(reading),
                        decimals = decimals,
                        piece = piece
                    );
                    Question { row, column, text }
                }),
            );
        }
        found.extend(range_questions(procedure, row, titration));
        let odd = procedure.scheme.odd(titration).into_iter();
        found.extend(odd.map(|(column, text)| Question { row, column, text }));
        let pieces: Vec<Piece> = titration.pieces(Delivery::First).collect();
        let start = pieces.first().map(|p| p.start.value());
        // with a second portion in between, where the burette stood says nothing
        if let (Some(start), Some(last)) = (start, last_end)
            && titration.pieces(Delivery::Second).next().is_none()
            && start > last
        {
            let text = message!("reading.no-refill", start = start, last = last);
            found.push(Question {
                row,
                column: Column::BuretteStart(1),
                text,
            });
        }
        last_end = pieces.last().map(|p| p.end.value());
    }
    found
}

/// Trials whose result, with what the labels of the reagents say, no sample can have.
fn impossible(procedure: &Procedure, hand_in: &HandIn) -> Vec<Question> {
    let done = work_up_readings(procedure, hand_in);
    let unit = procedure.result.unit;
    // a label is worth some percent
    let most = procedure.pure_result();
    let most = most.and_then(|pure| pure.checked_mul(Decimal::new(105, 2)));
    let heats = matches!(procedure.scheme, Scheme::Heating(_));
    let columns = procedure.scheme.columns(1);
    let mut found = Vec::new();
    for (row, trial) in done.trials.iter().enumerate() {
        let Some(result) = trial.result.map(|id| done.graph.value(id)) else {
            continue;
        };
        let last = hand_in.titrations[row].readings.keys().rev();
        let last = last.copied().find(|read| columns.contains(read));
        let why = if most.is_some_and(|most| result > most) {
            "reading.impossible-more"
        } else if result < Decimal::ZERO {
            "reading.impossible-less"
        } else if heats && result.is_zero() {
            "reading.impossible-nothing"
        } else {
            continue;
        };
        if let Some(column) = last.or(columns.last().copied()) {
            let shown = plain(to_figures(result, 3));
            let text = Message::new(why)
                .with("result", number(shown))
                .with("unit", unit.name());
            found.push(Question { row, column, text });
        }
    }
    found
}

/// Readings whose delivered volume or sample lies outside what the glassware and the procedure are made for.
pub fn range_questions(procedure: &Procedure, row: usize, titration: &Titration) -> Vec<Question> {
    let mut found = Vec::new();
    for (column, piece) in deliveries(titration) {
        let capacity = column.glassware(procedure).capacity();
        let most = capacity.saturating_mul(Decimal::new(9, 1)).normalize();
        let delivered = piece.end.value().saturating_sub(piece.start.value());
        // a blank is small by nature, and so is what brings an endpoint back
        let small = titration.trial == TrialLabel::Blank || column.is_note(procedure);
        if delivered < Decimal::ONE && !small {
            found.push(Question {
                row,
                column,
                text: message!("reading.little", delivered = delivered),
            });
        } else if delivered > most {
            let text = message!("reading.much", delivered = delivered, most = most);
            found.push(Question { row, column, text });
        }
    }
    let read = |column: Column| Some(column.get(titration)?.value());
    let sample = match Column::of_sample(procedure) {
        [before, after] => {
            let both = read(*before).zip(read(*after));
            both.map(|(before, left)| (*after, before.saturating_sub(left)))
        }
        [column] => read(*column).map(|amount| (*column, amount)),
        _ => None,
    };
    if let Some((column, amount)) = sample
        && procedure.sample.by == SampleBy::Volume
        && amount > procedure.sample.glassware.capacity()
    {
        let top = procedure.sample.glassware.capacity();
        let text = message!("reading.above-mark", amount = amount, top = top);
        found.push(Question { row, column, text });
    }
    if let Some((column, amount)) = sample {
        let nominal = procedure.sample.nominal;
        // volumes are met closely; weighed portions are allowed a quarter either way (common practice)
        let share = if procedure.sample.by == SampleBy::Volume {
            Decimal::new(10, 2)
        } else {
            Decimal::new(25, 2)
        };
        if amount.saturating_sub(nominal).abs() > nominal.saturating_mul(share) {
            let unit = procedure.sample.glassware.kind().unit();
            let text = message!(
                "reading.sample-far",
                amount = amount,
                unit = unit,
                nominal = nominal
            );
            found.push(Question { row, column, text });
        }
    }
    found
}

/// Start–end pieces of both portions, each with the column of its end.
fn deliveries(titration: &Titration) -> impl Iterator<Item = (Column, Piece<'_>)> {
    titration.readings.iter().filter_map(|(column, start)| {
        let column = column.end()?;
        let end = column.get(titration)?;
        Some((column, Piece { start, end }))
    })
}

/// Readings of a titration not written to their glassware's decimals, with the decimals expected.
pub fn written_otherwise<'a>(
    procedure: &'a Procedure,
    titration: &'a Titration,
) -> impl Iterator<Item = (Column, u32)> + 'a {
    Column::of(procedure, titration.fillings())
        .into_iter()
        .filter_map(move |column| {
            let expected = column.glassware(procedure).decimals()?;
            let reading = column.get(titration)?;
            (reading.decimals() != expected).then_some((column, expected))
        })
}
