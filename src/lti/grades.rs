//! Columns of a gradebook and scores in them, as a platform's services take them (AGS 3.2 and 3.4).

use jiff::Timestamp;
use rust_decimal::Decimal;
use serde::Deserialize;
use serde_json::{Number, Value, json};

use super::members::same_host;

/// A column of a gradebook.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct LineItem {
    /// As people read it.
    pub label: String,
    /// What is ours: by it and the tag it is found again.
    pub resource: String,
}

/// A grade on its way.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Score {
    /// Who it is at the platform.
    pub sub: String,
    /// None: there is none any more.
    pub given: Option<Decimal>,
    pub possible: Decimal,
    /// Whether nobody has to look at it any more.
    pub settled: bool,
    pub at: Timestamp,
}

/// What is wrong with an answer.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum LineItemFault {
    #[error("found no JSON of a line item, expected one")]
    Form,
    #[error("found a line item at another host than the gradebook, expected the same")]
    Elsewhere,
}

#[derive(Deserialize)]
struct Written {
    id: String,
    #[serde(default, rename = "resourceId")]
    resource: Option<String>,
    #[serde(default)]
    tag: Option<String>,
}

impl LineItem {
    /// Media type of one, and of several (AGS 3.2.4 and 3.2.5).
    pub const KIND: &'static str = "application/vnd.ims.lis.v2.lineitem+json";
    pub const SEVERAL: &'static str = "application/vnd.ims.lis.v2.lineitemcontainer+json";
    /// What all of ours are tagged with (AGS 3.2.8).
    pub const TAG: &'static str = "grade";

    /// Where it is looked for (AGS 3.2.5.1).
    pub fn looked_for(line_items: &str, resource: &str) -> String {
        let query = form_urlencoded::Serializer::new(String::new())
            .append_pair("resource_id", resource)
            .append_pair("tag", Self::TAG)
            .finish();
        let joined = if line_items.contains('?') { '&' } else { '?' };
        format!("{line_items}{joined}{query}")
    }

    /// What one is made by (AGS 3.2.6).
    pub fn made_by(&self, possible: Decimal) -> String {
        let made = json!({
            "scoreMaximum": number(possible),
            "label": self.label,
            "resourceId": self.resource,
            "tag": Self::TAG,
        });
        made.to_string()
    }

    /// The address of ours among several: platforms need not look at what they were asked for.
    pub fn found(
        text: &str,
        resource: &str,
        line_items: &str,
    ) -> Result<Option<String>, LineItemFault> {
        let all: Vec<Value> = serde_json::from_str(text).map_err(|_| LineItemFault::Form)?;
        let mut all = all
            .into_iter()
            .filter_map(|one| serde_json::from_value::<Written>(one).ok());
        let ours = all.find(|one| {
            one.resource.as_deref() == Some(resource) && one.tag.as_deref() == Some(Self::TAG)
        });
        ours.map(|one| there(one.id, line_items)).transpose()
    }

    /// The address of one that was made.
    pub fn made(text: &str, line_items: &str) -> Result<String, LineItemFault> {
        let made: Written = serde_json::from_str(text).map_err(|_| LineItemFault::Form)?;
        there(made.id, line_items)
    }
}

impl Score {
    /// Media type of it (AGS 3.4).
    pub const KIND: &'static str = "application/vnd.ims.lis.v1.score+json";

    /// As it is sent. What a person has still to look at is pending by hand. A grade that was withdrawn is sent without points, by which a platform takes what it has away (AGS
    /// 3.4.4), and as one that is pending (AGS 3.4.8).
    pub fn written(&self) -> String {
        let mut score = json!({
            "userId": self.sub,
            "timestamp": stamp(self.at),
            "activityProgress": "Completed",
            "gradingProgress": match (self.given, self.settled) {
                (Some(_), true) => "FullyGraded",
                (Some(_), false) => "PendingManual",
                (None, _) => "Pending",
            },
        });
        if let Some(given) = self.given {
            // AGS 3.4.4: not negative
            score["scoreGiven"] = number(given.max(Decimal::ZERO));
            score["scoreMaximum"] = number(self.possible);
        }
        score.to_string()
    }
}

/// Where scores of a line item go: its address with `/scores` at the end of the path (AGS 3.4.2).
pub fn scores_address(line_item: &str) -> String {
    match line_item.split_once('?') {
        Some((path, query)) => format!("{}/scores?{query}", path.trim_end_matches('/')),
        None => format!("{}/scores", line_item.trim_end_matches('/')),
    }
}

/// An instant with parts of seconds (AGS 3.4.6: ISO 8601 with a zone, as exact as that).
fn stamp(at: Timestamp) -> String {
    at.strftime("%Y-%m-%dT%H:%M:%S%.3fZ").to_string()
}

/// A number of JSON with the digits it has.
fn number(decimal: Decimal) -> Value {
    let text = decimal.normalize().to_string();
    let whole = text.parse::<i64>().ok().map(Number::from);
    let number = whole.or_else(|| text.parse().ok().and_then(Number::from_f64));
    number.map_or(Value::Null, Value::Number)
}

fn there(address: String, line_items: &str) -> Result<String, LineItemFault> {
    match same_host(&address, line_items) {
        true => Ok(address),
        false => Err(LineItemFault::Elsewhere),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scores_go_below_the_path() {
        for (item, scores) in [
            ("https://l.example/i/1", "https://l.example/i/1/scores"),
            (
                "https://l.example/i/1?t=2",
                "https://l.example/i/1/scores?t=2",
            ),
        ] {
            assert_eq!(scores_address(item), scores);
        }
    }

    #[test]
    fn a_score_has_its_digits_and_parts_of_a_second() {
        let score = Score {
            sub: "user-8".into(),
            given: Some(Decimal::new(1_725, 2)),
            possible: Decimal::new(2_000, 2),
            settled: true,
            at: Timestamp::from_millisecond(1_492_368_876_736).expect("an instant"),
        };
        let read: Value = serde_json::from_str(&score.written()).expect("JSON");
        // the timestamp of the example in AGS 3.4
        assert_eq!(read["timestamp"], "2017-04-16T18:54:36.736Z");
        assert_eq!(
            (&read["scoreGiven"], &read["scoreMaximum"]),
            (&json!(17.25), &json!(20))
        );
        let gone = Score {
            given: None,
            ..score
        }
        .written();
        assert!(
            !gone.contains("scoreGiven") && gone.contains("Pending"),
            "{gone}"
        );
    }
}
