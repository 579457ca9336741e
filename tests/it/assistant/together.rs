//! Submissions with one flag, accepted together.

use concordant::term::Status;

use super::{ADA, READINGS, evening_with, has, lacks, status};
use crate::app::Person;

#[tokio::test]
async fn what_waits_with_one_flag_is_accepted_together_each_as_a_decision_of_its_own() {
    const FLAG: &str = "flag=unknown-mismatch";
    // everybody writes a bottle that is not theirs
    let app = evening_with(&READINGS.replace("N-1,,", "N-1,U-9,")).await;
    let mut assistant = app.person("b.tarn").await;
    let list = assistant.get(&format!("/review?{FLAG}")).await;
    has(
        &list,
        &[
            "/review/accept?flag=unknown-mismatch",
            "Accept these 2 together",
        ],
    );
    for all_kinds in ["/review", "/review?experiment=acid"] {
        lacks(&assistant.get(all_kinds).await, &["/review/accept"]);
    }
    let page = assistant.get(&format!("/review/accept?{FLAG}")).await;
    has(
        &page,
        &[
            "2 submissions wait here",
            "value=\"1/acid/0042\" checked",
            "value=\"1/acid/0043\" checked",
            "wrote U-1, was given U-2",
        ],
    );
    lacks(&page, &["0051"]);
    let send = async |person: &mut Person, chosen: &[&str]| {
        let mut fields = vec![("filter", FLAG), ("reason", "Seen in class.")];
        fields.extend(chosen.iter().map(|value| ("accept[]", *value)));
        person.post_form("/review/accept", &fields).await
    };
    for (chosen, said) in [
        (&[][..], "Tick the submissions to accept."),
        // of a section that is not theirs, and of a version that was never seen
        (&["1/acid/0042", "1/acid/0051"][..], "Nothing was accepted"),
        (&["2/acid/0042"][..], "Nothing was accepted"),
    ] {
        let refused = send(&mut assistant, chosen).await;
        assert_eq!(refused.status, 422, "{chosen:?}");
        has(&refused, &[said, "Seen in class."]);
        assert_eq!(status(&app, "0042").await.0, Status::ToReview);
    }
    let before = status(&app, "0042").await.1;
    let done = send(&mut assistant, &["1/acid/0042", "1/acid/0043"]).await;
    assert_eq!(done.status, 303, "{}", done.body);
    has(
        &assistant.get(done.location()).await,
        &["2 submissions are accepted", "Nothing waits for you here."],
    );
    for student in ["0042", "0043"] {
        assert_eq!(status(&app, student).await.0, Status::Settled);
    }
    assert_eq!(status(&app, "0042").await.1, before, "marks stay");
    assert_eq!(status(&app, "0051").await.0, Status::ToReview);
    has(&assistant.get(ADA).await, &["Seen in class.", "Take back"]);
    let back = [("decisions", "1"), ("filter", "")];
    let taken = assistant
        .post_form(&format!("{ADA}/take-back"), &back)
        .await;
    assert_eq!(taken.status, 303);
    assert_eq!(status(&app, "0042").await.0, Status::ToReview);
    assert_eq!(status(&app, "0043").await.0, Status::Settled);
}
