//! Adopting a draft.

use axum::extract::Path;
use store::criteria::adoption::Known;

use super::editor;
use super::editor::Open;
use crate::form::Field;
use crate::form::Form;
use crate::page::Answer;
use crate::page::lead_to;
use crate::typed::Typed;
use crate::visit::Visit;

/// The form that adopts a draft. Who did not run past nights says why not.
pub(super) fn form(visit: &Visit, open: &Open) -> Form {
    let name = &open.draft.name;
    let version = engine::criteria::head(&open.draft.text).version;
    let form = visit
        .form(format!("/criteria/{name}/adopt"), format!("Adopt version {version}"))
        .field(Field::hidden("seen", open.draft.id.to_string()))
        .field(
            Field::lines("reason", "Why it is adopted", 2)
                .needed()
                .hint("Stands in the record beside this version."),
        )
        .grave();
    if open.same_run().is_some_and(|run| run.ran().is_some()) {
        return form;
    }
    form.field(
        Field::lines("unrun", "Why past nights were not run with exactly this draft", 2)
            .needed()
            .hint("Or see first what it would change."),
    )
}

/// `POST /criteria/{name}/adopt`.
pub(super) async fn adopt(visit: Visit, Path(name): Path<String>, typed: Typed) -> Answer {
    let seen = editor::seen(&typed)?;
    let Some(open) = editor::opened(&visit, &name).await? else {
        return Ok(lead_to(&format!("/criteria/{name}")));
    };
    let mut form = form(&visit, &open).filled(&typed).checked();
    if !form.has_faults() {
        let known = match open.same_run().and_then(|run| run.ran()) {
            Some(ran) => Known::Ran(ran),
            None => Known::Not(typed.get("unrun").to_owned()),
        };
        let (store, reason) = (visit.app.store(), typed.get("reason"));
        match store.adopt(&visit.author(), &name, seen, reason, &known).await {
            Ok(adopted) => {
                let says = format!(
                    "Adopted: version {} holds for every night scored from now on. No night scored before was changed.",
                    adopted.version
                );
                return Ok(visit.done(&says, &format!("/criteria/{name}")));
            }
            Err(error) => {
                form.refused(error, &[("reason_missing", "reason"), ("not_run", "unrun")])?;
            }
        }
    }
    let page = editor::made(&visit, &open, None, form);
    visit.again(&format!("Draft of {name}"), &page)
}
