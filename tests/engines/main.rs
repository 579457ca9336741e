//! One suite for the store, on every engine it stands on: files of SQLite always; PostgreSQL where this is built with
//! `--features postgres`, on a server that the tests start themselves.

#[allow(dead_code)]
#[path = "../it/app.rs"]
mod app;
mod cases;
#[cfg(feature = "postgres")]
mod cluster;
mod engine;
mod people;
#[cfg(feature = "postgres")]
mod put_by;
#[cfg(feature = "postgres")]
mod restarted;
#[cfg(feature = "postgres")]
mod servers;
mod speed;
#[cfg(feature = "postgres")]
mod taken_in;
#[cfg(feature = "postgres")]
mod tls;
#[allow(dead_code)]
#[path = "../it/week.rs"]
mod week;

use engine::Engine;

macro_rules! cases {
    ($($case:ident),* $(,)?) => {
        mod on_sqlite {
            $(#[tokio::test(flavor = "multi_thread")]
            async fn $case() {
                super::cases::$case(&super::Engine::file()).await;
            })*
        }

        /// All of them on one server, each in a schema of its own.
        #[cfg(feature = "postgres")]
        #[tokio::test(flavor = "multi_thread")]
        async fn on_postgres() {
            let Some(cluster) = cluster::Cluster::start().await else { return };
            $({
                println!("{}", stringify!($case));
                let engine = Engine::schema(&cluster, stringify!($case)).await;
                cases::$case(&engine).await;
                engine.close().await;
            })*
        }
    };
}

cases!(
    what_is_kept_is_refused_to_be_changed,
    the_chain_shows_what_was_changed_all_the_same,
    a_request_is_one_hand_in,
    two_servers_at_once,
    a_write_that_is_broken_off_never_was,
    everything_comes_back_as_it_was_written,
    who_is_signed_in_at_one_is_at_the_other,
    who_is_taken_out_is_gone,
    drafts_and_mail,
);

/// A student's place in an experiment, by what people call the two.
fn slot(experiment: &str, student: &str) -> concordant::term::Slot {
    let student = concordant::ids::StudentId::new(student);
    concordant::term::Slot::new(&concordant::ids::ExperimentKey::new(experiment), &student)
}
