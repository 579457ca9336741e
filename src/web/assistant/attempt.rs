//! A decision as it was typed: read into a ruling, or shown again with what is wrong with it.

use rust_decimal::Decimal;

use crate::desk::ReviewError;
use crate::form::{Faults, Typed};
use crate::term::Ruling;
use crate::web::{Fields, PageError, PageResult};

/// What was typed into one of the small forms, and what is wrong with it.
#[derive(Clone, Debug, Default)]
pub struct Attempt {
    /// The form: `accept`, `return`, `trial`, `adjust`, `against`, `late`, `points` or `note`; empty if none was sent.
    pub action: String,
    pub typed: Typed,
    pub faults: Faults,
    /// What is wrong with all of it.
    pub message: Option<String>,
}

impl Attempt {
    pub fn of(fields: &Fields, action: &str) -> Self {
        Self {
            action: action.to_owned(),
            typed: fields.0.clone(),
            ..Self::default()
        }
    }

    /// The ruling asked for; none if fields are at fault, which are then named.
    pub fn read(&mut self) -> PageResult<Option<Ruling>> {
        let choice = self.typed.text("choice");
        let ruling = match (self.action.as_str(), choice) {
            ("accept", _) => return Ok(Some(Ruling::Accept)),
            ("return", _) => Some(Ruling::Return),
            ("adjust", _) => self.read_points().map(|points| Ruling::Adjust { points }),
            ("trial", choice) => self.chosen(of_trial(choice)),
            ("against", "written") => Some(Ruling::AgainstWritten { written: true }),
            ("against", "issued") => Some(Ruling::AgainstWritten { written: false }),
            ("late", "excused") => Some(Ruling::ExcuseLate { excused: true }),
            ("late", "counts") => Some(Ruling::ExcuseLate { excused: false }),
            ("against" | "late", _) => self.chosen(None),
            (other, _) => {
                let found: String = other.chars().take(30).collect();
                return Err(PageError::bad_request(format!(
                    "Found the decision \u{201c}{found}\u{201d}, which there is not. Go back, reload the page and decide again."
                )));
            }
        };
        if self.typed.text("reason").is_empty() {
            self.faults.add("reason", ReviewError::NoReason.to_string());
        }
        Ok(ruling.filter(|_| self.faults.is_empty()))
    }

    /// The points typed; none if they are no number, which is then said.
    pub fn read_points(&mut self) -> Option<Decimal> {
        parse_points(self.typed.text("points"))
            .map_err(|why| self.faults.add("points", why))
            .ok()
    }

    /// Puts a refusal beside the field it is about.
    pub fn refused(mut self, why: &ReviewError) -> Self {
        match why {
            ReviewError::NoReason => self.faults.add("reason", why.to_string()),
            ReviewError::TrialThere(_) => self.faults.add("trial", why.to_string()),
            ReviewError::NoTrial(_) => self.faults.add("choice", why.to_string()),
            ReviewError::Adjustment { .. } | ReviewError::Points { .. } => {
                self.faults.add("points", why.to_string());
            }
            _ => self.message = Some(why.to_string()),
        }
        self
    }

    /// Whether this form was sent.
    pub fn is(&self, action: &str) -> bool {
        self.action == action
    }

    fn chosen(&mut self, ruling: Option<Ruling>) -> Option<Ruling> {
        if ruling.is_none() {
            self.faults
                .add("choice", "found no choice, expected one of the list");
        }
        ruling
    }
}

fn of_trial(choice: &str) -> Option<Ruling> {
    let (what, number) = choice.split_once(':')?;
    let trial = number.parse().ok()?;
    match what {
        "leave-out" => Some(Ruling::LeaveOut { trial }),
        "put-back" => Some(Ruling::PutBack { trial }),
        _ => None,
    }
}

/// Points as people type them: at most two decimals, a minus of either kind in front.
pub fn parse_points(text: &str) -> Result<Decimal, String> {
    let text = text.trim();
    let bad = || match text {
        "" => "found nothing, expected a number such as 1.5".to_owned(),
        _ => format!(
            "found \u{201c}{text}\u{201d}, expected a number such as 1.5, with at most two decimals"
        ),
    };
    let (minus, digits) = match text.strip_prefix(['-', '\u{2212}']) {
        Some(rest) => (true, rest),
        None => (false, text.strip_prefix('+').unwrap_or(text)),
    };
    let digits = digits.replace(',', ".");
    let (whole, decimals) = digits.split_once('.').unwrap_or((&digits, ""));
    let only_digits = |part: &str| part.bytes().all(|byte| byte.is_ascii_digit());
    let sound = only_digits(whole)
        && only_digits(decimals)
        && decimals.len() <= 2
        && (1..=6).contains(&whole.len().max(usize::from(!decimals.is_empty())));
    if !sound {
        return Err(bad());
    }
    let whole = if whole.is_empty() { "0" } else { whole };
    let decimals = if decimals.is_empty() { "0" } else { decimals };
    let value: Decimal = format!("{whole}.{decimals}").parse().map_err(|_| bad())?;
    Ok(if minus { -value } else { value }.normalize())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_are_read_with_either_minus_and_at_most_two_decimals() {
        let read = |text: &str| parse_points(text).map(|points| points.to_string());
        for (text, expected) in [
            ("1.5", "1.5"),
            (" 2 ", "2"),
            ("-0.50", "-0.5"),
            ("\u{2212}1", "-1"),
            ("+1.25", "1.25"),
            ("0,75", "0.75"),
            (".5", "0.5"),
            ("3.", "3"),
            ("-0", "0"),
        ] {
            assert_eq!(read(text).as_deref(), Ok(expected), "{text}");
        }
        for text in [
            "", " ", "-", ".", "1.255", "1e3", "--1", "1 0", "½", "1.2.3", "1234567", "٣",
        ] {
            let why = parse_points(text).expect_err(text);
            assert!(
                why.contains("expected a number such as 1.5"),
                "{text}: {why}"
            );
        }
    }
}
