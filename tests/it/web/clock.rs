//! A clock that is set forth and back ends sessions, and brings none back.

use jiff::SignedDuration;

use crate::app::{PASSWORD, Person, TestApp};

async fn sign_in(person: &mut Person) {
    let fields = [("login", "0042"), ("password", PASSWORD)];
    assert_eq!(person.post_open("/sign-in", &fields).await.status, 303);
    assert_eq!(person.get("/password").await.status, 200);
}

#[tokio::test]
async fn no_session_comes_back_with_the_clock() {
    let app = TestApp::spawn().await;
    let mut person = app.person("0042").await;
    for (from, to) in [(3, -3), (13, -13)] {
        sign_in(&mut person).await;
        app.clock.put_forward(SignedDuration::from_hours(from));
        assert_eq!(person.get("/password").await.status, 303, "it has ended");
        app.clock.put_forward(SignedDuration::from_hours(to));
        assert_eq!(person.get("/password").await.status, 303, "{to}");
    }
    // of a clock that ran ahead, which would last for more than a day
    app.clock.put_forward(SignedDuration::from_hours(30));
    sign_in(&mut person).await;
    app.clock.put_forward(SignedDuration::from_hours(-30));
    assert_eq!(person.get("/password").await.status, 303);
    // a clock that is put right by a little ends nothing
    sign_in(&mut person).await;
    app.clock.put_forward(SignedDuration::from_mins(-4));
    assert_eq!(person.get("/password").await.status, 200);
}
