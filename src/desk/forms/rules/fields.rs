//! A marking and rules for trials as fields of a form, and back.

use rust_decimal::Decimal;

use crate::form::{Field, Form, Kind, Read, Typed};
use crate::judge::{
    AgreementMeasure, AgreementPart, CalculationPart, Late, Marking, Scale, Scored,
};
use crate::measure::plain;
use crate::procedure::{Accept, Procedure, TrialRules};
use crate::stats::{DixonCritical, DixonLevel};
use crate::text;

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

/// What is asked of a marking and of trials.
pub fn form() -> Form {
    let number = |name: &str, label: &str, hint: &str| Field::decimal(name, label).hint(hint);
    let mut accuracy = scale_fields("accuracy", "Points for accuracy");
    accuracy.push(Field::tick(
        "forgive_carried",
        "an error carried over with a titrant that the student standardised before costs nothing here",
    ));
    let mut agreement = scale_fields("agreement", "Points for agreement");
    let measures = vec![
        ("range".to_owned(), "range of the results".to_owned()),
        (
            "relative-s".to_owned(),
            "relative standard deviation".to_owned(),
        ),
    ];
    let measure = Field::of_list("agreement_measure", "Measured by", measures);
    agreement.insert(1, measure);
    let ways = [
        ("concordant", "the largest concordant set"),
        ("all", "all of them"),
        ("dixon", "all but one outlier by Dixon\u{2019}s test"),
    ];
    let levels = ["90", "95", "99"].map(|level| (level.to_owned(), format!("{level} %")));
    Form::default()
        .group("Accuracy", accuracy)
        .group("Agreement", agreement)
        .group(
            "Calculation",
            vec![
                number("calculation_points", "Points for calculation", ""),
                number(
                    "calculation_within",
                    "Full points within",
                    "% of what the student\u{2019}s own readings give",
                ),
                number(
                    "calculation_share",
                    "For a single slip",
                    "% of the points, where one slip explains the answer",
                ),
                number(
                    "calculation_figures",
                    "Taken for too few figures",
                    "% of the points, where a right answer has two or more figures too few; empty: it costs nothing",
                ),
            ],
        )
        .group(
            "Recording, by hand, lateness",
            vec![
                number("recording_points", "Points for recording", ""),
                number("by_hand_points", "Points by hand", "given by an assistant"),
                number(
                    "late_share",
                    "Lost per day late",
                    "% of the points; empty: lateness costs nothing",
                ),
                number("late_grace", "Time of grace", "hours"),
                number("late_floor", "Kept at least", "% kept, however late"),
            ],
        )
        .group(
            "Trials",
            vec![
                Field::new("minimum", "Trials at least", Kind::Whole(1..=20)).needed(),
                Field::tick("blank", "a blank is titrated and subtracted"),
                Field::tick("prompt", "the bench form asks about missing decimals"),
                Field::pick("accept", "Which trials count", &ways).needed(),
                number("within", "Within", "mL; for a concordant set"),
                Field::choice("level", "Level", "choose", levels.into())
                    .hint("of Dixon\u{2019}s test")
                    .expected("90, 95 or 99"),
                Field::new("from", "From", Kind::Whole(3..=20)).hint("trials on"),
            ],
        )
}

fn scale_fields(part: &str, points: &str) -> Vec<Field> {
    let ways = [
        ("ramp", "evenly, from full points to none"),
        ("steps", "in steps"),
    ];
    let evenly = "%; where they fall evenly";
    vec![
        Field::decimal(format!("{part}_points"), points).wide(),
        Field::pick(format!("{part}_scale"), "How they fall", &ways),
        Field::decimal(format!("{part}_full"), "Full points up to").hint(evenly),
        Field::decimal(format!("{part}_zero"), "None from").hint(evenly),
        Field::new(format!("{part}_steps"), "Steps", Kind::Lines(3))
            .hint("a step to a line: up to so many percent, so many points, as in 0.5 10"),
    ]
}

/// Those fields filled with what an experiment goes by.
pub fn filled(procedure: &Procedure) -> Typed {
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
    let figures = calculation
        .map(|c| percent(c.figures))
        .filter(|f| !f.is_zero());
    number("calculation_figures", figures);
    number("by_hand_points", marking.by_hand);
    let late = marking.late.as_ref();
    number("late_share", late.map(|l| percent(l.share_per_day)));
    number("late_grace", late.map(|l| l.grace_hours));
    number("late_floor", late.map(|l| percent(l.floor)));
    values.push(("minimum", trials.minimum.to_string()));
    let tick = |ticked: bool| if ticked { "yes" } else { "" }.to_owned();
    values.push(("forgive_carried", tick(marking.forgive_carried_error)));
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
    values.into_iter().collect()
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
pub fn read(
    read: &mut Read<'_>,
    typed: &Typed,
    trials: &TrialRules,
) -> (Marking, Option<TrialRules>) {
    let accuracy = scored(read, typed, ACCURACY);
    let measure = match typed.text("agreement_measure") {
        "relative-s" => AgreementMeasure::RelativeS,
        _ => AgreementMeasure::Range,
    };
    let agreement = scored(read, typed, AGREEMENT).map(|scored| AgreementPart { scored, measure });
    let number = |name: &str| read.decimal(name);
    let marking = Marking {
        accuracy,
        agreement,
        recording: number("recording_points"),
        calculation: number("calculation_points").map(|points| CalculationPart {
            points,
            within: number("calculation_within").unwrap_or(Decimal::new(5, 1)),
            single_slip_share: share(number("calculation_share").unwrap_or_default()),
            figures: share(number("calculation_figures").unwrap_or_default()),
        }),
        by_hand: number("by_hand_points"),
        forgive_carried_error: read.is_ticked("forgive_carried"),
        late: number("late_share").map(|per_day| Late {
            grace_hours: number("late_grace").unwrap_or_default(),
            share_per_day: share(per_day),
            floor: share(number("late_floor").unwrap_or_default()),
        }),
    };
    let trials = read_trials(read, typed, trials);
    if read.is_sound()
        && let Err(found) = marking.check()
    {
        for fault in found {
            read.fault(field_of(&fault.key), fault.what);
        }
    }
    (marking, trials)
}

fn needed(read: &mut Read<'_>, typed: &Typed, name: &str, expected: &str) {
    if typed.text(name).is_empty() {
        read.fault(name, text::found("", expected));
    }
}

fn scored(
    read: &mut Read<'_>,
    typed: &Typed,
    [points, kind, full, zero, steps]: ScaleFields,
) -> Option<Scored> {
    let points = read.decimal(points)?;
    let scale = if typed.text(kind) == "steps" {
        Scale::Steps(read_steps(read, typed.text(steps), steps))
    } else {
        needed(read, typed, full, "a number");
        needed(read, typed, zero, "a number");
        Scale::Ramp {
            full_within: read.decimal(full)?,
            zero_from: read.decimal(zero)?,
        }
    };
    Some(Scored { points, scale })
}

/// Lines of a limit in percent and the points up to it.
fn read_steps(read: &mut Read<'_>, text: &str, name: &str) -> Vec<(Decimal, Decimal)> {
    let mut steps = Vec::new();
    for (line, number) in text.lines().zip(1_u32..) {
        let words: Vec<&str> = line
            .split([' ', ';', '\t'])
            .filter(|word| !word.is_empty())
            .collect();
        let pair = match words.as_slice() {
            [] => continue,
            [limit, points] => text::decimal(limit).ok().zip(text::decimal(points).ok()),
            _ => None,
        };
        match pair {
            Some(pair) => steps.push(pair),
            None => {
                let what = format!(
                    "line {number}: found \u{201c}{line}\u{201d}, expected a limit in percent and points, as in 0.5 10"
                );
                read.fault(name, what);
            }
        }
    }
    steps
}

fn read_trials(read: &mut Read<'_>, typed: &Typed, now: &TrialRules) -> Option<TrialRules> {
    let accept = match typed.text("accept") {
        "dixon" => {
            needed(read, typed, "level", "90, 95 or 99");
            needed(read, typed, "from", "a whole number from 3 to 20");
            let level = read.said("level").and_then(|text| text.parse().ok());
            let critical = match now.accept {
                Accept::Dixon { critical, .. } => critical,
                _ => DixonCritical::default(),
            };
            Accept::Dixon {
                level: level.and_then(DixonLevel::from_percent)?,
                from: read.whole("from")? as usize,
                critical,
            }
        }
        "concordant" => {
            needed(read, typed, "within", "a number");
            let within = read.decimal("within")?;
            if within <= Decimal::ZERO {
                let what = format!("found {}, expected a number above 0", typed.text("within"));
                read.fault("within", what);
            }
            Accept::Concordant { within }
        }
        _ => Accept::All,
    };
    Some(TrialRules {
        minimum: read.whole("minimum")?,
        blank: read.is_ticked("blank"),
        accept,
        prompt_decimals: read.is_ticked("prompt"),
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
        "calculation.figures" => "calculation_figures",
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
    use crate::form::Faults;

    fn rules(typed: &Typed, now: &TrialRules) -> Result<(Marking, TrialRules), Faults> {
        let mut fields = form().read(typed);
        let (marking, trials) = read(&mut fields, typed, now);
        fields.check()?;
        Ok((marking, trials.expect("is sound")))
    }

    /// Every shipped procedure goes through the form and its own file unchanged.
    #[test]
    fn a_form_and_a_file_say_what_the_procedure_says() {
        let glassware = files::shipped_glassware();
        let shipped = files::shipped_procedures();
        assert!(shipped.len() > 20);
        for (key, text) in shipped {
            let procedure = files::read_procedure(&key, &text, &glassware).expect("is sound");
            let sent = filled(&procedure);
            for (name, _) in sent.pairs() {
                assert!(form().field(name).is_some(), "{name}");
            }
            let (marking, trials) = rules(&sent, &procedure.trials).expect("no fault");
            assert_eq!(marking, procedure.marking, "{key}");
            assert_eq!(trials, procedure.trials, "{key}");
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
        let sent = Typed::from([
            ("accuracy_points", "ten"),
            ("agreement_points", "4"),
            ("agreement_scale", "steps"),
            ("agreement_steps", "0.5 4\n1"),
            ("minimum", "0"),
            ("accept", "dixon"),
            ("level", "80"),
            ("from", "4"),
        ]);
        let now = TrialRules {
            minimum: 1,
            blank: false,
            accept: Accept::All,
            prompt_decimals: true,
        };
        let faults = rules(&sent, &now).expect_err("has faults");
        let mut names: Vec<&str> = faults.iter().map(|(name, _)| name).collect();
        names.sort_unstable();
        assert_eq!(
            names,
            ["accuracy_points", "agreement_steps", "level", "minimum"]
        );
    }
}
