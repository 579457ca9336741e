//! The figures beside readings are those of the trials that count, on every page.

use concordant::desk::{decide, release};
use concordant::term::Ruling;

use crate::app::Answer;
use crate::week::{acid_form, app};

const KEY: &str = "0123456789abcdef0123456789abcdef";
const BENCH: &str = "/student/experiments/acid/bench";

fn says(page: &Answer, sentence: &str) {
    assert_eq!(page.status, 200, "{}", page.body);
    assert!(page.body.contains(sentence), "{sentence} in {}", page.body);
    assert!(!page.body.contains("3 trials: mean"), "{}", page.body);
}

/// Titres of 20.40, 20.38 and 21.57 mL, of which two may differ by 0.10 mL: by hand, the first two have a mean of 20.39
/// and a range of 0.02, the first and the last one of 20.985 and 1.17.
#[tokio::test]
async fn figures_beside_readings_are_of_the_trials_that_count() {
    let by_rule = "The 2 trials that count: mean 20.390 mL, range 0.02 mL";
    let settled = "The 2 trials that count: mean 20.985 mL, range 1.17 mL";
    let app = app().await;
    let mut form = acid_form(KEY, "0", "20.40", "20.48");
    form.retain(|(name, _)| *name != "trials");
    form.extend([
        ("trials", "3"),
        ("3.burette_start_mL", "0.00"),
        ("3.burette_end_mL", "21.57"),
    ]);
    let mut student = app.person("0042").await;
    let look = student.post_form(BENCH, &form).await;
    says(&look, by_rule);
    says(
        &look,
        "Trials 1 and 2 agree within 0.10 mL: that is enough, another trial is not needed.",
    );
    let done = student
        .post_form("/student/experiments/acid/hand-in", &form)
        .await;
    assert_eq!(done.status, 303, "{}", done.body);
    let own_pages = ["/student/experiments/acid", "/student/record"];
    let mut assistant = app.person("b.tarn").await;
    says(&assistant.get("/review/acid/0042").await, by_rule);
    let (slot, now) = (crate::slot("acid", "0042"), app.clock.now());
    let ruling = Ruling::LeaveOut { trial: 2 };
    decide(&app.desk, slot, ruling, "spilt", 1, ("b.tarn", now))
        .await
        .expect("decided");
    says(&assistant.get("/review/acid/0042").await, settled);
    // what staff have left out is theirs until the results are out
    for page in own_pages {
        says(&student.get(page).await, by_rule);
    }
    release(&app.desk, &crate::key("acid"), ("i.quell", now))
        .await
        .expect("released");
    for page in own_pages {
        says(&student.get(page).await, settled);
    }
}
