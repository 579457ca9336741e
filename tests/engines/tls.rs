//! A database on another machine: what goes there is encrypted, and goes to whom it is meant for.

use std::path::Path;

use concordant::desk::{Desk, hand_in};
use concordant::store::{Store, first_difference};

use crate::cluster::Cluster;
use crate::engine::{Engine, course, request};

#[tokio::test(flavor = "multi_thread")]
async fn a_database_over_the_network_is_asked_over_tls_alone() {
    let Some(cluster) = Cluster::start().await else {
        return;
    };
    let engine = Engine::schema(&cluster, "course_far").await;
    course(&engine, 1).await.close().await;
    engine.close().await;
    let (port, authority) = cluster.over_tls().await;
    let another = cluster.certified("elsewhere");
    let opened = async |host: &str, mode: &str, vouches: &Path| {
        let url = format!(
            "postgres://lab@{host}:{port}/postgres?sslmode={mode}&sslrootcert={}&course=far",
            vouches.display()
        );
        Store::named(Path::new(&url)).await
    };
    let store = opened("localhost", "verify-full", &authority).await;
    let desk = Desk::open(store.expect("a store")).await.expect("a desk");
    let receipt = hand_in(&desk, request("k0", "one", 0, "20.40")).await;
    assert!(receipt.is_ok(), "{receipt:?}");
    let mut reader = desk.store().read().await.expect("a reader");
    assert_eq!(first_difference(&mut reader).await.expect("is read"), None);
    drop(reader);
    desk.close().await;
    // the server takes nobody without, so what went there was encrypted
    for (host, mode, vouches, why) in [
        ("localhost", "disable", &authority, "no encryption"),
        ("localhost", "verify-full", &another, "certificate"),
        ("127.0.0.1", "verify-full", &authority, "certificate"),
    ] {
        let refused = opened(host, mode, vouches).await.err();
        let refused = refused.unwrap_or_else(|| panic!("{host} {mode} is opened"));
        assert!(
            refused.to_string().contains(why),
            "{host} {mode}: {refused}"
        );
    }
}
