//! A decision as it was typed: read into a ruling, or shown again with what is wrong with it.

use rust_decimal::Decimal;

use crate::desk::ReviewError;
use crate::term::Ruling;
use crate::web::{Fields, PageError, PageResult};

/// What was typed into one of the small forms, and what is wrong with it.
#[derive(Clone, Debug, Default)]
pub struct Attempt {
    /// The form: `accept`, `return`, `trial`, `adjust`, `against`, `late` or `points`; empty if none was sent.
    pub action: String,
    /// Which trial, which bottle, which way.
    pub choice: String,
    pub points: String,
    /// Why, or the note to the student.
    pub reason: String,
    /// By field.
    pub faults: Vec<(&'static str, String)>,
    /// What is wrong with all of it.
    pub message: Option<String>,
}

impl Attempt {
    pub fn of(fields: &Fields, action: &str) -> Self {
        let typed = |name| fields.one(name).unwrap_or_default().to_owned();
        Self {
            action: action.to_owned(),
            choice: typed("choice"),
            points: typed("points"),
            reason: typed("reason"),
            faults: Vec::new(),
            message: None,
        }
    }

    /// The ruling asked for; none if fields are at fault, which are then named.
    pub fn read(&mut self) -> PageResult<Option<Ruling>> {
        let choice = self.choice.trim().to_owned();
        let ruling = match self.action.as_str() {
            "accept" => return Ok(Some(Ruling::Accept)),
            "return" => Some(Ruling::Return),
            "trial" => self.trial(&choice),
            "adjust" => self.read_points().map(|points| Ruling::Adjust { points }),
            "against" => self.one_of(
                &choice,
                [
                    ("written", Ruling::AgainstWritten { written: true }),
                    ("issued", Ruling::AgainstWritten { written: false }),
                ],
            ),
            "late" => self.one_of(
                &choice,
                [
                    ("excused", Ruling::ExcuseLate { excused: true }),
                    ("counts", Ruling::ExcuseLate { excused: false }),
                ],
            ),
            other => {
                let found: String = other.chars().take(30).collect();
                return Err(PageError::bad_request(format!(
                    "Found the decision \u{201c}{found}\u{201d}, which there is not. Go back, reload the page and decide again."
                )));
            }
        };
        if self.reason.trim().is_empty() {
            self.faults
                .push(("reason", ReviewError::NoReason.to_string()));
        }
        Ok(ruling.filter(|_| self.faults.is_empty()))
    }

    /// The points typed; none if they are no number, which is then said.
    pub fn read_points(&mut self) -> Option<Decimal> {
        parse_points(&self.points)
            .map_err(|why| self.faults.push(("points", why)))
            .ok()
    }

    /// Puts a refusal beside the field it is about.
    pub fn refused(mut self, why: &ReviewError) -> Self {
        let field = match why {
            ReviewError::NoReason => Some("reason"),
            ReviewError::NoTrial(_) => Some("choice"),
            ReviewError::Adjustment { .. } | ReviewError::Points { .. } => Some("points"),
            _ => None,
        };
        match field {
            Some(field) => self.faults.push((field, why.to_string())),
            None => self.message = Some(why.to_string()),
        }
        self
    }

    /// What the form calls a field.
    pub fn label(&self, field: &str) -> &'static str {
        match (field, self.action.as_str()) {
            ("points", _) => "Points",
            ("choice", _) => "Trial",
            (_, "return" | "note") => "Note to the student",
            _ => "Why",
        }
    }

    /// Whether this form was sent.
    pub fn is(&self, action: &str) -> bool {
        self.action == action
    }

    /// What was typed into a field of a form; none if that form was not sent.
    pub fn typed(&self, action: &str, field: &str) -> Option<&str> {
        self.is(action).then_some(match field {
            "choice" => self.choice.as_str(),
            "points" => &self.points,
            _ => &self.reason,
        })
    }

    /// What is wrong with a field of a form.
    pub fn fault(&self, action: &str, field: &str) -> Option<&str> {
        let faults = self.faults.iter();
        faults
            .filter(|_| self.is(action))
            .find(|(name, _)| *name == field)
            .map(|(_, what)| what.as_str())
    }

    fn trial(&mut self, choice: &str) -> Option<Ruling> {
        let read = || {
            let (what, number) = choice.split_once(':')?;
            let trial = number.parse().ok()?;
            match what {
                "leave-out" => Some(Ruling::LeaveOut { trial }),
                "put-back" => Some(Ruling::PutBack { trial }),
                _ => None,
            }
        };
        let ruling = read();
        self.chosen(ruling)
    }

    fn one_of(&mut self, choice: &str, all: [(&str, Ruling); 2]) -> Option<Ruling> {
        let ruling = all.into_iter().find(|(name, _)| *name == choice);
        self.chosen(ruling.map(|(_, ruling)| ruling))
    }

    fn chosen(&mut self, ruling: Option<Ruling>) -> Option<Ruling> {
        if ruling.is_none() {
            let what = "found no choice, expected one of the list";
            self.faults.push(("choice", what.to_owned()));
        }
        ruling
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
