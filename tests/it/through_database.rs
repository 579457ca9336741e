//! A folder taken into a database and out of it is the same folder.

use concordant::desk::{Desk, bring_in};
use concordant::files::write_term;
use concordant::store::Store;

use crate::course::{folder, term};

#[tokio::test]
async fn a_folder_comes_out_of_a_database_as_it_went_in() {
    let now = "2026-10-01T12:00:00Z".parse().unwrap();
    let desk = Desk::open(Store::passing().await.unwrap()).await.unwrap();
    bring_in(&desk, &folder(), "import", now).await.unwrap();
    let view = desk.view().await.unwrap();
    assert_eq!(view.term.staff[1].sections, ["A", "Mon PM"]);
    let (out, direct) = (write_term(&view.term), write_term(&term()));
    for (path, bytes) in direct.files() {
        let text = |bytes: &[u8]| String::from_utf8_lossy(bytes).into_owned();
        assert_eq!(out.get(path).map(text), Some(text(bytes)), "{path}");
    }
    assert_eq!(out, direct);
    drop(view);
    let again = bring_in(&desk, &folder(), "import", now).await.unwrap();
    assert_eq!(again.changes, 0);
}
