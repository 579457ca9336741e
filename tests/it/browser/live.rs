//! A student at the bench and the assistant's board, in two browsers at once.

use concordant::desk::{TypedAtBench, bring_in, keep_typed};
use concordant::files::Folder;
use jiff::SignedDuration;
use serde_json::json;
use thirtyfour::By;

use super::bench::{BENCH, says, value};
use super::line::Line;
use super::student::{field, write};
use super::{Browser, LAPTOP, PHONE, sign_in, sign_in_at, with};
use crate::app::TestApp;
use crate::week;

const BOARD: &str = "/board/acid?section=A";

type Neighbour = (
    &'static str,
    &'static [(&'static str, &'static str)],
    Option<i64>,
);

/// What 22 others of the section are at: burette, start and end of their trials, and for how many minutes a hand is up.
const OTHERS: [Neighbour; 22] = [
    ("1", &[("0.00", "20.40"), ("0.02", "20.44")], None),
    ("2", &[("0.00", "20.40"), ("20.40", "")], None),
    ("3", &[("0.00", "20.40"), ("0.00", "22.10")], Some(6)),
    ("4", &[("0.15", "")], None),
    ("5", &[], None),
    ("6", &[("1.00", "21.36"), ("0.00", "20.62")], None),
    ("", &[("0.00", "20.38"), ("0.10", "20.46")], None),
    ("8", &[("0.00", "20.40")], None),
    ("9", &[("0.00", "20.40")], Some(2)),
    ("10", &[], None),
    ("11", &[("0.30", "20.70"), ("20.70", "41.12")], None),
    ("12", &[("0.00", "20.40"), ("0.00", "20.52")], None),
    ("13", &[("0.00", "20.40"), ("0.00", "")], None),
    ("14", &[], None),
    ("15", &[("0.00", "20.40"), ("0.00", "20.42")], None),
    ("16", &[("0.00", "20.40"), ("0.00", "20.42")], None),
    ("17", &[("0.00", "19.10"), ("0.00", "20.42")], None),
    ("18", &[("0.00", "20.36")], None),
    ("19", &[("0.00", "20.40"), ("0.00", "20.38")], None),
    ("20", &[("0.00", "20.40")], None),
    ("21", &[], None),
    ("22", &[("0.00", "20.40"), ("0.00", "20.42")], None),
];

/// The week with 24 students in section A.
async fn section() -> TestApp {
    let app = TestApp::spawn().await;
    let mut folder = Folder::default();
    for (path, bytes) in week::folder().files() {
        let mut text = String::from_utf8(bytes.to_vec()).expect("is text");
        if path == "roster.csv" {
            for n in 0..OTHERS.len() {
                text.push_str(&format!("01{n:02},Bench-Neighbour,Number{n},A\n"));
            }
        }
        folder.insert(path, text.into_bytes()).expect("room");
    }
    let now = app.clock.now();
    let brought = bring_in(&app.desk, &folder, "test", now).await;
    brought.expect("imported");
    for (n, (burette, trials, hand)) in OTHERS.into_iter().enumerate() {
        let mut fields = vec![("seen".to_owned(), "0".to_owned())];
        fields.push(("trials".into(), "2".into()));
        fields.push(("instrument".into(), burette.into()));
        for (trial, (start, end)) in (1..).zip(trials) {
            fields.push((format!("{trial}.burette_start_mL"), (*start).into()));
            fields.push((format!("{trial}.burette_end_mL"), (*end).into()));
        }
        let typed = TypedAtBench {
            form: format!("form-of-neighbour-{n}"),
            from: None,
            fields,
            hand: hand.map(|_| true),
        };
        let at = now - SignedDuration::from_mins(hand.unwrap_or(0));
        let slot = crate::slot("acid", format!("01{n:02}"));
        if !trials.is_empty() {
            keep_typed(&app.desk, &slot, typed, at).await.expect("kept");
        }
    }
    app
}

async fn look(board: &Browser, (width, height): (u32, u32), dark: bool) {
    let size = json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": false});
    board
        .command("Emulation.setDeviceMetricsOverride", size)
        .await;
    let scheme = if dark { "dark" } else { "light" };
    let features = json!([{"name": "prefers-color-scheme", "value": scheme}]);
    board
        .command("Emulation.setEmulatedMedia", json!({"features": features}))
        .await;
    assert!(board.overhang().await <= 0, "wider than {width}");
    board.screenshot(&format!("board-{width}-{scheme}")).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_assistant_sees_the_trials_and_the_hand_of_a_student_whose_phone_then_dies() {
    let app = section().await;
    let line = Line::to(&app.address).await;
    with(LAPTOP, |board| async move {
        let address = line.address.clone();
        sign_in_at(&app, &address, &board, "b.tarn").await;
        board.open(&format!("{address}{BOARD}")).await;
        says(&board, ".stages", "not begun").await;
        for size in [(1024, 768), (390, 844)] {
            for dark in [false, true] {
                look(&board, size, dark).await;
            }
        }
        let seen = board.clone();
        let app = std::sync::Arc::new(app);
        let server = std::sync::Arc::clone(&app);
        with(PHONE, |phone| async move {
            sign_in(&server, &phone, "0042").await;
            phone.open(&format!("{}{BENCH}", server.address)).await;
            write(&phone, &field("1.burette_start_mL"), "0.00").await;
            write(&phone, &field("1.burette_end_mL"), "20.40").await;
            says(&phone, "[data-state]", "Trial 1 is with the server.").await;
            let card = "Fennimore, Ada\n◐ at work";
            says(&seen, ".benches", card.split('\n').next().expect("a name")).await;
            says(&seen, ".benches li:has(a[href$='0042'])", "1 trial done").await;
            phone.screenshot("bench-phone-with-the-server").await;
            phone.click("[data-hand]").await;
            says(&phone, "[data-hand]", "Your hand is up").await;
            says(&seen, ".hands", "Fennimore").await;
            // somebody comes: the hand goes down on the phone too, with the next thing it hears
            seen.submit("button[aria-label*='Fennimore']").await;
            says(&seen, ".stages", "at work").await;
            write(&phone, &field("2.burette_start_mL"), "20.40").await;
            says(&phone, "[data-hand]", "Ask for help").await;
        })
        .await;
        // another phone of the same student
        let server = std::sync::Arc::clone(&app);
        with(PHONE, |phone| async move {
            sign_in(&server, &phone, "0042").await;
            phone.open(&format!("{}{BENCH}", server.address)).await;
            assert_eq!(value(&phone, "1.burette_end_mL").await, "20.40");
            assert_eq!(value(&phone, "2.burette_start_mL").await, "20.40");
            phone.screenshot("bench-another-phone").await;
            write(&phone, &field("2.burette_end_mL"), "40.82").await;
            says(
                &phone,
                "[data-state]",
                "Trials 1 and 2 are with the server.",
            )
            .await;
        })
        .await;
        says(&board, ".benches li:has(a[href$='0042'])", "1 and 2 agree").await;
        line.cut();
        says(&board, "[data-lost]", "What you see may be old").await;
        let typed = TypedAtBench {
            form: "form-of-neighbour-4".into(),
            from: None,
            fields: vec![
                ("seen".into(), "0".into()),
                ("1.burette_start_mL".into(), "0.00".into()),
                ("1.burette_end_mL".into(), "20.40".into()),
            ],
            hand: None,
        };
        let slot = crate::slot("acid", "0104");
        let kept = keep_typed(&app.desk, &slot, typed, app.clock.now()).await;
        kept.expect("kept");
        line.join();
        says(&board, ".benches li:has(a[href$='0104'])", "1 trial done").await;
        let lost = board.driver.find(By::Css("[data-lost]")).await;
        let shown = lost.expect("there").is_displayed().await;
        assert!(!shown.expect("known"), "it is back");
    })
    .await;
}
