//! Acts and their chain.

use store::record::act::Author;
use store::record::tables::Setting;
use store::words::Role;

fn desk_clerk() -> Author {
    Author {
        login: "pillow".to_owned(),
        name: "Petra Pillow".to_owned(),
        role: Role::Desk,
        station: "test".to_owned(),
    }
}

fn text(value: &str) -> Setting {
    Setting {
        id: 0,
        act: 0,
        name: "desk".to_owned(),
        value: value.to_owned(),
        at: 0,
        who: "pillow".to_owned(),
    }
}

on_both! {
    async fn an_act_that_is_not_closed_leaves_nothing(desk) {
        let mut act = desk.store.act(&desk_clerk(), "setting.put").await.unwrap();
        act.put(&mut text("one")).await.unwrap();
        drop(act);
        let mut conn = desk.store.read().await.unwrap();
        assert_eq!(conn.find::<Setting>("", &[]).await.unwrap(), []);
        assert_eq!(conn.number("SELECT COUNT(*) FROM act", &[]).await.unwrap(), 0);
    }

    async fn a_row_comes_back_as_it_was_written(desk) {
        let mut row = text("ünïcode, quotes ' \" and \u{1F319}\nlines");
        let mut act = desk.store.act(&desk_clerk(), "setting.put").await.unwrap();
        act.put(&mut row).await.unwrap();
        assert_eq!(act.close().await.unwrap(), 1);
        assert_eq!(desk.store.read().await.unwrap().get::<Setting>(1).await.unwrap(), row);
    }

    async fn a_row_somebody_else_changed_is_not_overwritten(desk) {
        let mut row = text("one");
        let mut act = desk.store.act(&desk_clerk(), "setting.put").await.unwrap();
        act.put(&mut row).await.unwrap();
        let seen = act.close().await.unwrap();
        let mut act = desk.store.act(&desk_clerk(), "setting.put").await.unwrap();
        act.put(&mut row).await.unwrap();
        act.close().await.unwrap();
        let mut late = desk.store.act(&desk_clerk(), "setting.put").await.unwrap();
        let refused = late.get_as_seen::<Setting>(row.id, seen).await.unwrap_err();
        assert_eq!(refused.to_string(), "setting 1 was changed by somebody else meanwhile; look at it again before you change it");
    }

    async fn acts_asked_for_at_once_follow_each_other(desk) {
        let mut asked = tokio::task::JoinSet::new();
        for _ in 0..40 {
            let store = desk.store.clone();
            asked.spawn(async move { store.act(&desk_clerk(), "look").await.unwrap().close().await.unwrap() });
        }
        let mut numbers = asked.join_all().await;
        numbers.sort_unstable();
        assert_eq!(numbers, (1..=40).collect::<Vec<_>>());
    }

    async fn the_database_itself_keeps_acts_unchanged(desk) {
        desk.store.act(&desk_clerk(), "look").await.unwrap().close().await.unwrap();
        if desk.store.folder().is_none() {
            let said = crate::both::straight(&desk.place, "TRUNCATE act").await.unwrap_err().to_string();
            assert!(said.contains("acts are never"), "{said}");
        }
        for sql in ["DELETE FROM act", "UPDATE act SET hash = 'x'", "UPDATE act SET body = 'x'"] {
            let said = crate::both::straight(&desk.place, sql).await.unwrap_err().to_string();
            assert!(said.contains("acts are never"), "{said}");
        }
    }
}
