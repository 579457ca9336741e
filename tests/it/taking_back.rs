//! A decision taken back: it stays in the record and counts no more.

use concordant::term::{Ruling, Status, standing};

use crate::app::TestApp;
use crate::assistant::evening;

const ADA: &str = "/review/acid/0042";

async fn held(app: &TestApp, student: &str) -> (Status, String, Vec<Ruling>) {
    let view = app.desk.view().await.expect("a course");
    let slot = crate::slot("acid", student);
    let judged = &view.judged.get(&slot).expect("is there");
    let made = view.term.decisions.get(&slot);
    let rulings = made.into_iter().flatten().map(|d| d.ruling.clone());
    (
        judged.status,
        judged.evaluation.marks.total.to_string(),
        rulings.collect(),
    )
}

#[tokio::test]
async fn what_was_decided_last_is_taken_back_and_stays_in_the_record() {
    let app = evening().await;
    let mut assistant = app.person("b.tarn").await;
    let (before, points, _) = held(&app, "0042").await;
    assert_eq!(before, Status::ToReview);
    let decide = format!("{ADA}/decide");
    let take_back = format!("{ADA}/take-back");
    let adjust = [
        ("seen", "1"),
        ("filter", ""),
        ("action", "adjust"),
        ("points", "-1"),
        ("reason", "no notebook"),
    ];
    assert_eq!(assistant.post_form(&decide, &adjust).await.status, 303);
    let accept = [("seen", "1"), ("filter", ""), ("action", "accept")];
    let onward = assistant.post_form(&decide, &accept).await;
    let next = assistant.get(onward.location()).await;
    assert!(next.body.contains("Take back: accepted"), "{}", next.body);
    assert_eq!(held(&app, "0042").await.0, Status::Settled);

    // somebody else has decided meanwhile
    let stale = assistant
        .post_form(&take_back, &[("decisions", "1"), ("filter", "")])
        .await;
    assert_eq!(stale.status, 409);
    assert!(stale.body.contains("somebody decided again"));
    assert_eq!(held(&app, "0042").await.0, Status::Settled);

    let form = [("decisions", "2"), ("filter", "")];
    let back = assistant.post_form(&take_back, &form).await;
    assert_eq!(back.status, 303);
    let page = assistant.get(back.location()).await;
    assert!(page.body.contains("Taken back"), "{}", page.body);
    // the adjustment still stands, and is the next to go
    assert!(
        page.body.contains("Take back: points adjusted"),
        "{}",
        page.body
    );
    let (status, adjusted, _) = held(&app, "0042").await;
    assert_eq!(status, Status::Settled);
    assert_ne!(adjusted, points);
    let form = [("decisions", "3"), ("filter", "")];
    assert_eq!(assistant.post_form(&take_back, &form).await.status, 303);
    let (status, total, rulings) = held(&app, "0042").await;
    assert_eq!((status, &total), (before, &points));
    assert_eq!(rulings.len(), 4, "{rulings:?}");

    // nothing is left to take back
    let form = [("decisions", "4"), ("filter", "")];
    assert_eq!(assistant.post_form(&take_back, &form).await.status, 409);
    // written out and read again, it means the same
    let view = app.desk.view().await.expect("a course");
    let folder = concordant::files::write_term(&view.term);
    let text = folder.get("decisions.csv").expect("decisions");
    assert!(String::from_utf8_lossy(text).contains(",take-back,"));
    let again = concordant::files::read_term(&folder).expect("is sound");
    assert_eq!(again.decisions, view.term.decisions);
    let slot = crate::slot("acid", "0042");
    assert!(standing(again.decisions.get(&slot).expect("is there")).is_empty());
}
