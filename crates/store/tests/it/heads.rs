//! Heads go out while work goes on, so that a cut at the end is seen.

use std::time::Duration;

use store::lending::setting::DeskSettings;
use store::record::act::Author;
use store::record::chain_head::EVERY;
use store::record::chain_head::HEADS;
use store::record::chain_head::read_heads;
use store::safekeeping::verify::in_silence;
use store::words::Role;

use crate::both::Desk;
use crate::full::by;
use crate::verify::behind;

async fn look(desk: &Desk) -> i64 {
    desk.store.act(&Author::program(), "look").await.unwrap().close().await.unwrap()
}

fn heads(path: &std::path::Path) -> Vec<i64> {
    let text = std::fs::read_to_string(path).unwrap_or_default();
    read_heads(&text).iter().map(|head| head.seq).collect()
}

on_both! {
    async fn r14_a_head_goes_out_after_every_so_many_acts(desk) {
        let folder = tempfile::tempdir().unwrap();
        let elsewhere = folder.path().join("elsewhere.txt");
        desk.store.send_heads_to(&elsewhere).await.unwrap();
        while look(&desk).await < 2 * EVERY + 1 {}
        assert_eq!(heads(&elsewhere), [EVERY, 2 * EVERY]);
        if let Some(record) = desk.store.folder() {
            assert_eq!(heads(&record.join(HEADS)), [EVERY, 2 * EVERY]);
        }
        // The desk's own figure holds from the act that set it.
        let set = serde_json::to_string(&DeskSettings { heads_every: 3, ..DeskSettings::default() }).unwrap();
        let act = desk.store.put_setting(&by(Role::Administrator), "desk", &set).await.unwrap().act;
        assert_eq!(act, 42);
        while look(&desk).await < 49 {}
        assert_eq!(heads(&elsewhere), [20, 40, 42, 45, 48]);
        // What stands in the file still holds when the acts after a head are cut away with the gate.
        behind(&desk, "DELETE FROM act WHERE seq > 46; UPDATE gate SET seq = 46, hash = (SELECT hash FROM act WHERE seq = 46) WHERE id = 1").await;
        let kept = read_heads(&std::fs::read_to_string(&elsewhere).unwrap());
        let found = desk.store.verify(&kept, &in_silence).await.unwrap();
        assert!(found.wrong[0].starts_with("acts were cut off at the end: the chain ends with act 46, but act 48"), "{:?}", found.wrong);
    }

    async fn r14_a_head_goes_out_by_the_clock_while_the_server_runs(desk) {
        let folder = tempfile::tempdir().unwrap();
        let elsewhere = folder.path().join("elsewhere.txt");
        desk.store.send_heads_to(&elsewhere).await.unwrap();
        let store = desk.store.clone();
        let kept = tokio::spawn(async move { store.keep_heads(Duration::from_millis(20), |_| {}).await });
        assert_eq!(look(&desk).await, 1);
        for _ in 0..500 {
            if heads(&elsewhere) == [1] {
                break;
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        assert_eq!(heads(&elsewhere), [1]);
        kept.abort();
    }
}

/// A log socket of the system takes a head as one line.
#[cfg(unix)]
#[tokio::test(flavor = "multi_thread")]
async fn a_head_goes_to_the_systems_log() {
    let desk = Desk::sqlite().await;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("log");
    let socket = std::os::unix::net::UnixDatagram::bind(&path).unwrap();
    socket.set_read_timeout(Some(Duration::from_secs(10))).unwrap();
    look(&desk).await;
    desk.store.send_heads_to(&path).await.unwrap();
    let mut line = [0; 200];
    let length = socket.recv(&mut line).unwrap();
    let text = String::from_utf8_lossy(&line[..length]).into_owned();
    assert!(text.starts_with("<13>matins: head 1 "), "{text}");
}
