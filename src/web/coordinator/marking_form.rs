//! A marking and rules for trials as fields of a form, and back.

use rust_decimal::Decimal;

use super::form::Form;
use crate::desk::Rules;
use crate::judge::{
    AgreementMeasure, AgreementPart, CalculationPart, Late, Marking, Scale, Scored,
};
use crate::measure::plain;
use crate::procedure::{Accept, Procedure, TrialRules};
use crate::stats::{DixonCritical, DixonLevel};
use crate::web::Fields;

/// Every field of the form but the reason.
pub const FIELDS: [&str; 26] = [
    "accuracy_points",
    "accuracy_scale",
    "accuracy_full",
    "accuracy_zero",
    "accuracy_steps",
    "agreement_points",
    "agreement_measure",
    "agreement_scale",
    "agreement_full",
    "agreement_zero",
    "agreement_steps",
    "recording_points",
    "calculation_points",
    "calculation_within",
    "calculation_share",
    "by_hand_points",
    "late_share",
    "late_grace",
    "late_floor",
    "minimum",
    "blank",
    "prompt",
    "accept",
    "within",
    "level",
    "from",
];

/// A field and what is wrong with it.
type Faults = Vec<(&'static str, String)>;

/// Names of the fields of a part on a scale: points, kind of scale, full, zero, steps.
type ScaleFields = [&'static str; 5];

const ACCURACY: ScaleFields = [
    "accuracy_points",
    "accuracy_scale",
    "accuracy_full",
    "accuracy_zero",
    "accuracy_steps",
];
const AGREEMENT: ScaleFields = [
    "agreement_points",
    "agreement_scale",
    "agreement_full",
    "agreement_zero",
    "agreement_steps",
];

/// The form filled with what an experiment goes by.
pub fn filled(procedure: &Procedure) -> Form {
    let (marking, trials) = (&procedure.marking, &procedure.trials);
    let mut values: Vec<(&str, String)> = Vec::new();
    scale_values(&mut values, ACCURACY, marking.accuracy.as_ref());
    let agreement = marking.agreement.as_ref();
    scale_values(&mut values, AGREEMENT, agreement.map(|a| &a.scored));
    let measure = match agreement.map(|a| a.measure).unwrap_or_default() {
        AgreementMeasure::Range => "range",
        AgreementMeasure::RelativeS => "relative-s",
    };
    values.push(("agreement_measure", measure.to_owned()));
    let mut number = |name, value: Option<Decimal>| {
        values.push((name, value.map(plain).unwrap_or_default()));
    };
    number("recording_points", marking.recording);
    let calculation = marking.calculation.as_ref();
    number("calculation_points", calculation.map(|c| c.points));
    number("calculation_within", calculation.map(|c| c.within));
    let slip = calculation.map(|c| percent(c.single_slip_share));
    number("calculation_share", slip);
    number("by_hand_points", marking.by_hand);
    let late = marking.late.as_ref();
    number("late_share", late.map(|l| percent(l.share_per_day)));
    number("late_grace", late.map(|l| l.grace_hours));
    number("late_floor", late.map(|l| percent(l.floor)));
    values.push(("minimum", trials.minimum.to_string()));
    let tick = |ticked: bool| if ticked { "yes" } else { "" }.to_owned();
    values.push(("blank", tick(trials.blank)));
    values.push(("prompt", tick(trials.prompt_decimals)));
    match trials.accept {
        Accept::All => values.push(("accept", "all".to_owned())),
        Accept::Concordant { within } => {
            values.push(("accept", "concordant".to_owned()));
            values.push(("within", plain(within)));
        }
        Accept::Dixon { level, from, .. } => {
            values.push(("accept", "dixon".to_owned()));
            values.push(("level", level.percent().to_string()));
            values.push(("from", from.to_string()));
        }
    }
    let values: Vec<(&str, &str)> = values.iter().map(|(n, v)| (*n, v.as_str())).collect();
    Form::filled(&values)
}

fn scale_values(
    values: &mut Vec<(&'static str, String)>,
    [points, kind, full, zero, steps]: ScaleFields,
    scored: Option<&Scored>,
) {
    let Some(scored) = scored else {
        return values.push((kind, "ramp".to_owned()));
    };
    values.push((points, plain(scored.points)));
    match &scored.scale {
        Scale::Ramp {
            full_within,
            zero_from,
        } => {
            values.push((kind, "ramp".to_owned()));
            values.push((full, plain(*full_within)));
            values.push((zero, plain(*zero_from)));
        }
        Scale::Steps(all) => {
            values.push((kind, "steps".to_owned()));
            let lines = all
                .iter()
                .map(|(limit, points)| format!("{limit} {points}"));
            values.push((steps, lines.collect::<Vec<_>>().join("\n")));
        }
    }
}

/// What the form says. `trials` are the rules now: what the form does not ask stays.
pub fn read(fields: &Fields, trials: &TrialRules) -> Result<Rules, Faults> {
    let mut faults = Faults::new();
    let accuracy = scored(fields, ACCURACY, &mut faults);
    let agreement = scored(fields, AGREEMENT, &mut faults).map(|scored| AgreementPart {
        scored,
        measure: match fields.text("agreement_measure") {
            "relative-s" => AgreementMeasure::RelativeS,
            _ => AgreementMeasure::Range,
        },
    });
    let mut number = |name: &'static str| optional(fields, name, &mut faults);
    let recording = number("recording_points");
    let calculation = number("calculation_points").map(|points| CalculationPart {
        points,
        within: number("calculation_within").unwrap_or(Decimal::new(5, 1)),
        single_slip_share: share(number("calculation_share").unwrap_or_default()),
    });
    let by_hand = number("by_hand_points");
    let late = number("late_share").map(|per_day| Late {
        grace_hours: number("late_grace").unwrap_or_default(),
        share_per_day: share(per_day),
        floor: share(number("late_floor").unwrap_or_default()),
    });
    let marking = Marking {
        accuracy,
        agreement,
        recording,
        calculation,
        by_hand,
        late,
    };
    let trials = read_trials(fields, trials, &mut faults);
    if faults.is_empty()
        && let Err(found) = marking.check()
    {
        faults.extend(
            found
                .into_iter()
                .map(|fault| (field_of(&fault.key), fault.what)),
        );
    }
    match trials {
        Some(trials) if faults.is_empty() => Ok(Rules {
            marking: Some(marking),
            trials: Some(trials),
        }),
        _ => Err(faults),
    }
}

fn optional(fields: &Fields, name: &'static str, faults: &mut Faults) -> Option<Decimal> {
    match fields.text(name) {
        "" => None,
        text => crate::text::decimal(&text.replace(',', "."))
            .map_err(|what| faults.push((name, what)))
            .ok(),
    }
}

fn needed(fields: &Fields, name: &'static str, faults: &mut Faults) -> Option<Decimal> {
    if fields.text(name).is_empty() {
        faults.push((name, "found nothing, expected a number".to_owned()));
    }
    optional(fields, name, faults)
}

fn scored(
    fields: &Fields,
    [points, kind, full, zero, steps]: ScaleFields,
    faults: &mut Faults,
) -> Option<Scored> {
    let points = optional(fields, points, faults)?;
    let scale = if fields.text(kind) == "steps" {
        Scale::Steps(read_steps(fields.text(steps), steps, faults))
    } else {
        let full_within = needed(fields, full, faults);
        let zero_from = needed(fields, zero, faults);
        Scale::Ramp {
            full_within: full_within?,
            zero_from: zero_from?,
        }
    };
    Some(Scored { points, scale })
}

/// Lines of a limit in percent and the points up to it.
fn read_steps(text: &str, name: &'static str, faults: &mut Faults) -> Vec<(Decimal, Decimal)> {
    let mut steps = Vec::new();
    for (line, number) in text.lines().zip(1_u32..) {
        let words: Vec<&str> = line
            .split([' ', ';', '\t'])
            .filter(|word| !word.is_empty())
            .collect();
        let pair = match words.as_slice() {
            [] => continue,
            [limit, points] => crate::text::decimal(limit)
                .ok()
                .zip(crate::text::decimal(points).ok()),
            _ => None,
        };
        match pair {
            Some(pair) => steps.push(pair),
            None => {
                let what = format!(
                    "line {number}: found \u{201c}{line}\u{201d}, expected a limit in percent and points, as in 0.5 10"
                );
                faults.push((name, what));
            }
        }
    }
    steps
}

fn read_trials(fields: &Fields, now: &TrialRules, faults: &mut Faults) -> Option<TrialRules> {
    let mut whole = |name: &'static str, range: std::ops::RangeInclusive<u32>| {
        let text = fields.text(name);
        let number = text.parse().ok().filter(|n| range.contains(n));
        if number.is_none() {
            let (low, high) = (range.start(), range.end());
            let what = format!(
                "found \u{201c}{text}\u{201d}, expected a whole number from {low} to {high}"
            );
            faults.push((name, what));
        }
        number
    };
    let minimum = whole("minimum", 1..=20);
    let accept = match fields.text("accept") {
        "dixon" => {
            let from = whole("from", 3..=20);
            let text = fields.text("level");
            let level = text.parse().ok().and_then(DixonLevel::from_percent);
            if level.is_none() {
                let what = format!("found \u{201c}{text}\u{201d}, expected 90, 95 or 99");
                faults.push(("level", what));
            }
            let critical = match now.accept {
                Accept::Dixon { critical, .. } => critical,
                _ => DixonCritical::default(),
            };
            level.zip(from).map(|(level, from)| Accept::Dixon {
                level,
                from: from as usize,
                critical,
            })
        }
        "concordant" => {
            let within = needed(fields, "within", faults);
            if within.is_some_and(|within| within <= Decimal::ZERO) {
                let what = format!("found {}, expected a number above 0", fields.text("within"));
                faults.push(("within", what));
            }
            within.map(|within| Accept::Concordant { within })
        }
        "all" => Some(Accept::All),
        other => {
            let what = format!("found \u{201c}{other}\u{201d}, expected one of the choices");
            faults.push(("accept", what));
            None
        }
    };
    Some(TrialRules {
        minimum: minimum?,
        blank: fields.text("blank") == "yes",
        accept: accept?,
        prompt_decimals: fields.text("prompt") == "yes",
    })
}

/// The field that holds a key of a marking.
fn field_of(key: &str) -> &'static str {
    match key {
        "accuracy.points" => "accuracy_points",
        "accuracy.ramp" => "accuracy_zero",
        "accuracy.steps" => "accuracy_steps",
        "agreement.points" => "agreement_points",
        "agreement.ramp" => "agreement_zero",
        "agreement.steps" => "agreement_steps",
        "recording.points" => "recording_points",
        "calculation.points" => "calculation_points",
        "calculation.within" => "calculation_within",
        "calculation.single_slip_share" => "calculation_share",
        "by_hand.points" => "by_hand_points",
        "late.grace_hours" => "late_grace",
        "late.share_per_day" => "late_share",
        "late.floor" => "late_floor",
        _ => "rules",
    }
}

fn percent(share: Decimal) -> Decimal {
    share.saturating_mul(Decimal::ONE_HUNDRED)
}

fn share(percent: Decimal) -> Decimal {
    let share = percent.checked_div(Decimal::ONE_HUNDRED);
    share.unwrap_or(percent).normalize()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files;

    /// Every shipped procedure goes through the form and its own file unchanged.
    #[test]
    fn a_form_and_a_file_say_what_the_procedure_says() {
        let glassware = files::shipped_glassware();
        let shipped = files::shipped_procedures();
        assert!(shipped.len() > 20);
        for (key, text) in shipped {
            let procedure = files::read_procedure(&key, &text, &glassware).expect("is sound");
            let form = filled(&procedure);
            let sent = FIELDS.map(|name| (name.to_owned(), form.value(name).to_owned()));
            let sent = Fields::new(sent.into()).expect("no name twice");
            let rules = read(&sent, &procedure.trials).expect("no fault");
            assert_eq!(rules.marking.as_ref(), Some(&procedure.marking), "{key}");
            assert_eq!(rules.trials.as_ref(), Some(&procedure.trials), "{key}");
            let written = files::write_marking(&procedure.marking);
            let again = files::read_marking("course.toml", &written);
            assert_eq!(
                again.expect("no fault"),
                procedure.marking,
                "{key}: {written}"
            );
            let written = files::write_trials(&procedure.trials);
            let again = files::read_trials("course.toml", &written);
            assert_eq!(
                again.expect("no fault"),
                procedure.trials,
                "{key}: {written}"
            );
        }
    }

    #[test]
    fn faults_name_their_field() {
        let sent = [
            ("accuracy_points", "ten"),
            ("agreement_points", "4"),
            ("agreement_scale", "steps"),
            ("agreement_steps", "0.5 4\n1"),
            ("minimum", "0"),
            ("accept", "dixon"),
            ("level", "80"),
            ("from", "4"),
        ];
        let sent = sent.map(|(n, v)| (n.to_owned(), v.to_owned()));
        let sent = Fields::new(sent.into()).expect("no name twice");
        let now = TrialRules {
            minimum: 1,
            blank: false,
            accept: Accept::All,
            prompt_decimals: true,
        };
        let faults = read(&sent, &now).expect_err("has faults");
        let names: Vec<&str> = faults.iter().map(|(name, _)| *name).collect();
        assert_eq!(
            names,
            ["accuracy_points", "agreement_steps", "minimum", "level"]
        );
    }
}
