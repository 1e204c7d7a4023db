//! How a department comes to a set of criteria of its own: a draft, what it would change, and its adoption.
//!
//! A draft is the setting `draft:NAME`; adopting it writes `criteria:NAME`, and beside it `adoption:NAME` with
//! the reason and what was known of the change. Every version of all three is kept. Going back is adopting an
//! old text as a new version.

use engine::criteria::Criteria;
use engine::criteria::Head;
use engine::criteria::Own;
use engine::criteria::head;
use engine::criteria::own_rule_ids;
use engine::criteria::published_rules;
use engine::criteria::shipped;
use engine::criteria::shipped_names;
use engine::criteria::with_version;
use serde::Deserialize;
use serde::Serialize;

use crate::criteria::sets::OWN;
use crate::criteria::sets::parsed;
use crate::error::Refusal;
use crate::error::Result;
use crate::error::StoreError;
use crate::people::person::reason_given;
use crate::record::act::Act;
use crate::record::act::Author;
use crate::record::chain::sha256;
use crate::record::db::Conn;
use crate::record::db::Store;
use crate::record::tables::Setting;
use crate::words::Role;

/// The source of a value that is the department's own choice.
pub const DEPARTMENT: &str = "department setting";

/// A set that is being changed and does not hold yet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Draft {
    /// Which version of the draft this is: whoever changes it must have seen it.
    pub id: i64,
    /// Name of the set.
    pub name: String,
    /// The set as a file.
    pub text: String,
    /// What it began from, in words.
    pub began: String,
    /// Who saved it, by login.
    pub who: String,
    /// When.
    pub at: i64,
}

#[derive(Serialize, Deserialize)]
struct KeptDraft {
    text: String,
    began: String,
}

impl Draft {
    /// SHA-256 of its text.
    pub fn sha256(&self) -> String {
        sha256(self.text.as_bytes())
    }

    fn of(kept: &Setting, name: &str) -> Option<Self> {
        let draft: KeptDraft = serde_json::from_str(&kept.value).ok()?;
        // One that was adopted or thrown away is empty.
        (!draft.text.is_empty()).then(|| Self {
            id: kept.id,
            name: name.to_owned(),
            text: draft.text,
            began: draft.began,
            who: kept.who.clone(),
            at: kept.at,
        })
    }
}

/// What a draft begins from.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Begin {
    /// The set that holds under this name.
    Holding,
    /// A set that travels with the program, without a change.
    Shipped(String),
    /// A version adopted before, by its number among the settings.
    Version(i64),
}

/// What was known of the change when a set was adopted.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Known {
    /// Past nights were run with it.
    Ran(Ran),
    /// They were not, and why not.
    Not(String),
}

/// That past nights were run to their end with a draft and with the set it takes the place of. Only such a run
/// makes one.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Ran {
    pub(crate) text_sha256: String,
    pub(crate) before_sha256: String,
    pub(crate) words: Vec<String>,
}

/// That a set was adopted, and how.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Adopted {
    /// The version of `criteria:NAME` it is about, by its number among the settings.
    pub setting: i64,
    /// The version it states.
    pub version: String,
    /// SHA-256 of the set as the engine takes it, with the set under it.
    pub sha256: String,
    /// Why it was adopted.
    pub reason: String,
    /// What past nights showed, a sentence each; empty when none were run.
    pub showed: Vec<String>,
    /// Why none were run.
    pub unrun_because: String,
}

impl Conn {
    /// The draft of a set, if there is one.
    pub async fn set_draft(&mut self, name: &str) -> Result<Option<Draft>> {
        let kept = self.setting(&format!("draft:{name}")).await?;
        Ok(kept.and_then(|kept| Draft::of(&kept, name)))
    }

    /// Every draft, by the name of its set.
    pub async fn set_drafts(&mut self) -> Result<Vec<Draft>> {
        let clause = "WHERE name LIKE 'draft:%' AND id = (SELECT MAX(id) FROM setting AS later WHERE later.name = setting.name) ORDER BY name";
        let kept: Vec<Setting> = self.find(clause, &[]).await?;
        let named = kept.iter().filter_map(|one| Some((one, one.name.strip_prefix("draft:")?)));
        Ok(named.filter_map(|(one, name)| Draft::of(one, name)).collect())
    }

    /// How each version of a set was adopted, the latest first.
    pub async fn adoptions(&mut self, name: &str) -> Result<Vec<Adopted>> {
        let kept: Vec<Setting> = self
            .find("WHERE name = $1 ORDER BY id DESC", &[format!("adoption:{name}").into()])
            .await?;
        Ok(kept.iter().filter_map(|one| serde_json::from_str(&one.value).ok()).collect())
    }

    /// A version that no set of this name has had.
    pub async fn free_version(&mut self, name: &str, based_on: &str) -> Result<String> {
        let had = self.had(name).await?;
        let base = shipped(based_on).map(|set| set.version).unwrap_or_default();
        let numbered = (1..).map(|n: u32| format!("{base}-{n}"));
        let mut free = numbered.skip_while(|version| had.contains(version));
        Ok(free.next().unwrap_or_default())
    }

    /// Every version a set of this name has had, with the one that travels with the program.
    async fn had(&mut self, name: &str) -> Result<Vec<String>> {
        let own = self.set_versions(name).await?;
        let own = own.iter().map(|version| head(&version.value).version);
        Ok(own.chain(shipped(name).ok().map(|set| set.version)).collect())
    }

    /// The set a draft of this name would take the place of: the one that holds, or the one a new name is based on.
    ///
    /// # Errors
    /// When there is none, or it is wrong.
    pub async fn set_before(&mut self, name: &str, text: &str) -> Result<Criteria> {
        match self.set_text(name).await? {
            Some(held) => parsed(&held),
            None => self.criteria(&head(text).based_on).await,
        }
    }
}

/// A set of the department's own, sound and honest.
///
/// # Errors
/// What stands against it: not only that the engine cannot read it, but also another name, no shipped set under
/// it, a rule that goes by a published one's id, or a source that does not give the value.
pub fn sound(name: &str, text: &str) -> Result<Criteria> {
    let set = parsed(text)?;
    let head = head(text);
    let mut wrong = Vec::new();
    if head.name != name {
        let says = format!("the text is of a set {}, not of {name}", head.name);
        wrong.push(Refusal::new("set_name", says, "write its name as `name`"));
    }
    let base = shipped(&head.based_on);
    if base.is_err() {
        let known = format!("`based_on` one of: {}", shipped_names().join(", "));
        let says = "the text is not based on a set that travels with the program";
        wrong.push(Refusal::new("set_base", says, known));
    }
    let published = published_rules().unwrap_or_default();
    for id in own_rule_ids(text).iter().filter(|id| published.iter().any(|rule| rule.id == **id)) {
        let says = format!("{id} is the name of a published rule");
        wrong.push(Refusal::new(
            "rule_named",
            says,
            "give a rule that asks otherwise a name of its own",
        ));
    }
    wrong.extend(base.ok().into_iter().flat_map(|base| borrowed(&set, &base)));
    if wrong.is_empty() { Ok(set) } else { Err(StoreError::Refused(wrong)) }
}

/// Values that differ from the shipped ones and still name the publication those came from.
fn borrowed(set: &Criteria, base: &Criteria) -> Vec<Refusal> {
    let mut wrong = Vec::new();
    for (own, shipped) in set.values().into_iter().zip(base.values()) {
        let source = own.setting.source.trim();
        if own.setting.value.total_cmp(&shipped.setting.value).is_eq() {
            continue;
        }
        let ours = [DEPARTMENT, "common practice", "from memory"].contains(&source);
        if source.is_empty() || (!ours && source == shipped.setting.source) {
            let says = format!(
                "{}.{} is {}, and its source {} gives {}",
                own.section,
                own.key,
                own.setting.value,
                if source.is_empty() { "(none)" } else { source },
                shipped.setting.value
            );
            let hint = format!("name the source of your value, or write {DEPARTMENT}");
            wrong.push(Refusal::new("source_wrong", says, hint));
        }
    }
    wrong
}

impl Store {
    /// Begins the draft of a set.
    ///
    /// # Errors
    /// Refused without the right, for a name that is none, and while there is a draft of it.
    pub async fn begin_draft(&self, by: &Author, name: &str, from: &Begin) -> Result<Draft> {
        may_change(by)?;
        name_right(name)?;
        let mut act = self.act(by, "criteria.draft").await?;
        if let Some(draft) = act.conn().set_draft(name).await? {
            let says = format!("there is a draft of {name}, saved by {}", draft.who);
            return Err(StoreError::refused(
                "draft_there",
                says,
                "adopt it or throw it away first",
            ));
        }
        let (text, began) = begun(act.conn(), name, from).await?;
        let draft = act.put_draft(name, &text, &began).await?;
        act.close().await?;
        Ok(draft)
    }

    /// Saves a draft anew. It may be unfinished: only its adoption asks that it is sound.
    ///
    /// # Errors
    /// [`StoreError::Changed`] when it is not as `seen`. Refused without the right, and when it is empty.
    pub async fn save_draft(
        &self,
        by: &Author,
        name: &str,
        seen: i64,
        text: &str,
    ) -> Result<Draft> {
        may_change(by)?;
        if text.trim().is_empty() {
            return Err(StoreError::refused(
                "draft_empty",
                "the text is empty",
                "throw the draft away instead",
            ));
        }
        let mut act = self.act(by, "criteria.draft").await?;
        let draft = act.draft_as_seen(name, seen).await?;
        let draft = act.put_draft(name, text, &draft.began).await?;
        act.close().await?;
        Ok(draft)
    }

    /// Throws a draft away. What it was stays in the record.
    ///
    /// # Errors
    /// [`StoreError::Changed`] when it is not as `seen`; refused without the right.
    pub async fn drop_draft(&self, by: &Author, name: &str, seen: i64) -> Result<()> {
        may_change(by)?;
        let mut act = self.act(by, "criteria.drop").await?;
        let draft = act.draft_as_seen(name, seen).await?;
        act.put_draft(name, "", &draft.began).await?;
        act.close().await.map(|_| ())
    }

    /// Adopts a draft: from now on nights are scored with it. No night that was scored before is changed.
    ///
    /// # Errors
    /// [`StoreError::Changed`] when the draft is not as `seen`. Refused without the right, without a reason, when
    /// it is not sound, when its version was there before, and when past nights were run with something else.
    pub async fn adopt(
        &self,
        by: &Author,
        name: &str,
        seen: i64,
        reason: &str,
        known: &Known,
    ) -> Result<Adopted> {
        may_change(by)?;
        let reason = reason_given(reason)?;
        let mut act = self.act(by, "criteria.adopt").await?;
        let draft = act.draft_as_seen(name, seen).await?;
        let set = sound(name, &draft.text)?;
        let had = act.conn().had(name).await?;
        if set.version.trim().is_empty() || had.contains(&set.version) {
            let says = format!("there was a version {} of {name} before", set.version);
            return Err(StoreError::refused("version_taken", says, "give it a version of its own"));
        }
        let before = act.conn().set_before(name, &draft.text).await?;
        let (showed, unrun_because) = shown(&draft, &before, known)?;
        let row = act.put_set(&format!("{OWN}{name}"), &draft.text).await?;
        let adopted = Adopted {
            setting: row.id,
            version: set.version,
            sha256: set.sha256,
            reason: reason.clone(),
            showed,
            unrun_because,
        };
        let text = serde_json::to_string(&adopted)
            .map_err(|error| StoreError::Damaged { says: error.to_string() })?;
        act.put_set(&format!("adoption:{name}"), &text).await?;
        act.put_draft(name, "", &draft.began).await?;
        act.on(format!("criteria {name}"), None);
        act.because(reason);
        act.close().await?;
        Ok(adopted)
    }
}

/// What past nights showed of exactly this change, or why none were run.
fn shown(draft: &Draft, before: &Criteria, known: &Known) -> Result<(Vec<String>, String)> {
    match known {
        Known::Ran(ran)
            if ran.text_sha256 != draft.sha256() || ran.before_sha256 != before.sha256 =>
        {
            let says = "past nights were run with another text or against another set";
            Err(StoreError::refused("ran_other", says, "run them again with this draft"))
        }
        Known::Ran(ran) => Ok((ran.words.clone(), String::new())),
        Known::Not(because) if because.trim().is_empty() => {
            let says = "past nights were not run with this draft";
            let hint = "see what it would change, or say why that is not needed";
            Err(StoreError::refused("not_run", says, hint))
        }
        Known::Not(because) => Ok((Vec::new(), because.trim().to_owned())),
    }
}

/// The text a draft begins with, under a version of its own, and what that is in words.
async fn begun(conn: &mut Conn, name: &str, start: &Begin) -> Result<(String, String)> {
    let own = conn.set_versions(name).await?;
    let from = match start {
        Begin::Holding => own.first(),
        Begin::Version(id) => Some(
            own.iter()
                .find(|version| version.id == *id)
                .ok_or_else(|| StoreError::Missing { what: format!("version {id} of {name}") })?,
        ),
        Begin::Shipped(_) => None,
    };
    if let Some(kept) = from {
        let head = head(&kept.value);
        let free = conn.free_version(name, &head.based_on).await?;
        return Ok((with_version(&kept.value, &free), format!("{name} {}", head.version)));
    }
    let based_on = match start {
        Begin::Shipped(base) => base.as_str(),
        _ => name,
    };
    let base = shipped(based_on).map_err(|error| {
        StoreError::refused(
            "set_base",
            error.to_string(),
            "choose a set that travels with the program",
        )
    })?;
    let version = conn.free_version(name, based_on).await?;
    let own = Own {
        head: Head {
            name: name.to_owned(),
            version,
            title: base.title.clone(),
            based_on: based_on.to_owned(),
        },
        rules: base.rules.iter().map(|rule| rule.id.clone()).collect(),
        questions: base.questions.clone(),
        ..Own::default()
    };
    Ok((own.text(&base), format!("{based_on} {}", base.version)))
}

impl Act {
    async fn draft_as_seen(&mut self, name: &str, seen: i64) -> Result<Draft> {
        let draft = self.conn().set_draft(name).await?;
        draft
            .filter(|draft| draft.id == seen)
            .ok_or_else(|| StoreError::Changed { what: format!("draft of {name}") })
    }

    async fn put_set(&mut self, name: &str, value: &str) -> Result<Setting> {
        let mut row = Setting {
            id: 0,
            act: 0,
            name: name.to_owned(),
            value: value.to_owned(),
            at: self.at(),
            who: self.author().login.clone(),
        };
        self.put(&mut row).await?;
        Ok(row)
    }

    async fn put_draft(&mut self, name: &str, text: &str, began: &str) -> Result<Draft> {
        let kept = KeptDraft { text: text.to_owned(), began: began.to_owned() };
        let kept = serde_json::to_string(&kept)
            .map_err(|error| StoreError::Damaged { says: error.to_string() })?;
        let row = self.put_set(&format!("draft:{name}"), &kept).await?;
        self.on(format!("criteria {name}"), None);
        Ok(Draft {
            id: row.id,
            name: name.to_owned(),
            text: text.to_owned(),
            began: began.to_owned(),
            who: row.who,
            at: row.at,
        })
    }
}

/// Whether a set may go by this name: it stands in addresses and on reports.
fn name_right(name: &str) -> Result<()> {
    let plain = |sign: char| sign.is_ascii_lowercase() || sign.is_ascii_digit() || sign == '-';
    let right = (2..=40).contains(&name.len())
        && name.chars().all(plain)
        && name.starts_with(|sign: char| sign.is_ascii_lowercase())
        && !name.ends_with('-');
    if right {
        return Ok(());
    }
    let says = "this is no name for a set";
    let hint = "small letters, digits and hyphens, such as adult-clinic-b; 2 to 40 of them";
    Err(StoreError::refused("set_name", says, hint))
}

fn may_change(by: &Author) -> Result<()> {
    if matches!(by.role, Role::Physiologist | Role::Physician) {
        return Ok(());
    }
    let says = "criteria are changed by a physiologist or a physician";
    Err(StoreError::refused("not_yours_to_change", says, "ask one of them"))
}
