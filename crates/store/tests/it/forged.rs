//! Acts as an earlier release wrote them, or as somebody with a database tool makes them: the chain made anew.

use store::record::chain::NOTHING_BEFORE;
use store::record::chain::sha256;
use store::record::chain_head::HEADS;
use store::record::db::Place;
use store::record::db::Store;
use store::record::entry::Entry;
use store::safekeeping::verify::in_silence;

use crate::both::Desk;
use crate::both::MORNING;
use crate::both::new_database;
use crate::full;
use crate::verify::behind;

/// Changes acts and computes every hash anew, and forgets the heads that were written down.
pub(crate) async fn forge(desk: &Desk, change: impl Fn(&mut Entry)) {
    let acts = desk.store.read().await.unwrap().entries(0, 1000).await.unwrap();
    let mut prev = NOTHING_BEFORE.to_owned();
    for mut act in acts {
        change(&mut act);
        act.prev = std::mem::take(&mut prev);
        let body = act.body.clone().unwrap();
        act.body_sha256 = sha256(body.as_bytes());
        act.hash = act.link();
        prev.clone_from(&act.hash);
        let body = body.replace('\'', "''");
        behind(desk, &format!("UPDATE act SET body = '{body}', body_sha256 = '{}', prev = '{}', hash = '{}', at = {} WHERE seq = {}", act.body_sha256, act.prev, act.hash, act.at, act.seq)).await;
    }
    behind(desk, &format!("UPDATE gate SET hash = '{prev}' WHERE id = 1")).await;
    if let Some(folder) = desk.store.folder() {
        let _ = std::fs::remove_file(folder.join(HEADS));
    }
}

async fn wrong(desk: &Desk) -> Vec<String> {
    desk.store.verify(&[], &in_silence).await.unwrap().wrong
}

/// Backs up, and restores into both kinds of place; every record must be sound.
pub(crate) async fn backed_up_and_restored(desk: &Desk) {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("b");
    store::safekeeping::backup::backup(&desk.store, &file, None, &in_silence).await.unwrap();
    let mut places = vec![Place::Folder(folder.path().join("restored"))];
    places.extend(new_database().await);
    for place in places {
        let clock: store::when::Clock = std::sync::Arc::new(|| MORNING);
        store::safekeeping::backup::restore(&file, &place, None, clock.clone(), &in_silence)
            .await
            .unwrap();
        let restored = Store::open(&place, clock).await.unwrap();
        let found = restored.verify(&[], &in_silence).await.unwrap();
        assert_eq!((found.wrong, found.told), (vec![], vec![]), "{place:?}");
        let again = folder.path().join(format!("again{}", restored.folder().is_some()));
        store::safekeeping::backup::backup(&restored, &again, None, &in_silence).await.unwrap();
        restored.close().await;
    }
}

on_both! {
    /// A night with nothing believed: the sum of nothing was kept in the act as a zero with a sign, and one of
    /// the databases does not keep it. No backup could be made any more, and checking called it sound.
    async fn r12_an_act_that_holds_a_zero_with_a_sign_is_whole_again(desk) {
        full::fill(&desk.store).await;
        let zero = if desk.store.folder().is_some() { "0.0" } else { "'-0'" };
        behind(&desk, &format!("UPDATE outcome SET believed_h = {zero}")).await;
        forge(&desk, |act| {
            let body: serde_json::Value = serde_json::from_str(act.body.as_deref().unwrap()).unwrap();
            for row in body["rows"].as_array().unwrap().iter().filter(|row| row["table"] == "outcome") {
                let was = format!("\"believed_h\":{}", row["row"]["believed_h"]);
                act.body = act.body.take().map(|body| body.replace(&was, "\"believed_h\":-0.0"));
            }
        }).await;
        let held = desk.store.read().await.unwrap().number("SELECT COUNT(*) FROM act WHERE body LIKE '%:-0.0%'", &[]).await.unwrap();
        assert_eq!(held, 1);
        assert_eq!(wrong(&desk).await, Vec::<String>::new());
        backed_up_and_restored(&desk).await;
    }

    /// A column that a later step added, in a row whose act is older.
    async fn r12_a_column_younger_than_its_rows_image_is_checked(desk) {
        full::fill(&desk.store).await;
        forge(&desk, |act| act.body = act.body.take().map(|body| body.replace(",\"repeats_because\":null", ""))).await;
        let held = desk.store.read().await.unwrap().number("SELECT COUNT(*) FROM act WHERE body LIKE '%repeats_because%'", &[]).await.unwrap();
        assert_eq!(held, 0);
        assert_eq!(wrong(&desk).await, Vec::<String>::new());
        backed_up_and_restored(&desk).await;
        behind(&desk, "UPDATE loan SET repeats_because = 'forged reason' WHERE id = 1").await;
        let said = wrong(&desk).await;
        assert!(said.len() == 1 && said[0].starts_with("loan 1: repeats_because is not what act "), "{said:?}");
    }

    async fn an_act_dated_before_the_one_before_it_is_named(desk) {
        full::fill(&desk.store).await;
        forge(&desk, |act| act.at -= if act.seq == 4 { 60 } else { 0 }).await;
        assert_eq!(wrong(&desk).await, ["act 4 is dated 2026-11-25T07:59:00Z, before the act before it, and nobody accepted such a clock"]);
    }
}
