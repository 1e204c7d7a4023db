//! Sets of criteria: those that travel with the program, and the department's own, of which every version is kept.

use engine::criteria::Criteria;
use engine::criteria::shipped_names;
use engine::criteria::shipped_text;

use crate::error::Result;
use crate::error::StoreError;
use crate::record::db::Conn;
use crate::record::tables::Setting;

/// What the names of the department's own sets begin with among the settings.
pub(crate) const OWN: &str = "criteria:";

/// A set from its text. It may be based on a set that travels with the program.
///
/// # Errors
/// When the text is no set.
pub fn parsed(text: &str) -> Result<Criteria> {
    let base = |name: &str| shipped_text(name).map(str::to_owned);
    Criteria::parse(text, &base)
        .map_err(|error| StoreError::refused("criteria_wrong", error.to_string(), ""))
}

impl Conn {
    /// The names of every set: those that travel with the program, then the department's own beside them.
    pub async fn set_names(&mut self) -> Result<Vec<String>> {
        let clause = "WHERE name LIKE 'criteria:%' AND id = (SELECT MAX(id) FROM setting AS later WHERE later.name = setting.name) ORDER BY name";
        let own: Vec<Setting> = self.find(clause, &[]).await?;
        let own = own.iter().filter_map(|setting| setting.name.strip_prefix(OWN));
        let shipped = shipped_names();
        let beside = own.filter(|name| !shipped.contains(name)).map(str::to_owned);
        Ok(shipped.iter().map(|name| (*name).to_owned()).chain(beside).collect())
    }

    /// The text that holds under a name: the department's own, or the one that travels with the program.
    pub async fn set_text(&mut self, name: &str) -> Result<Option<String>> {
        let own = self.setting(&format!("{OWN}{name}")).await?.map(|kept| kept.value);
        Ok(own.or_else(|| shipped_text(name).map(str::to_owned)))
    }

    /// A set of criteria: the department's own of this name, or one that travels with the program.
    ///
    /// # Errors
    /// When there is none, or it is wrong.
    pub async fn criteria(&mut self, name: &str) -> Result<Criteria> {
        let Some(text) = self.set_text(name).await? else {
            let known = self.set_names().await?.join(", ");
            return Err(StoreError::refused(
                "criteria_unknown",
                format!("there is no set of criteria {name}"),
                format!("there are: {known}"),
            ));
        };
        parsed(&text)
    }

    /// Every version of the department's own set of this name, the latest first.
    pub async fn set_versions(&mut self, name: &str) -> Result<Vec<Setting>> {
        self.find("WHERE name = $1 ORDER BY id DESC", &[format!("{OWN}{name}").into()]).await
    }

    /// How many nights have their latest result by a set of this name.
    pub async fn nights_by_set(&mut self, name: &str) -> Result<i64> {
        let sql = "SELECT COUNT(*) FROM night JOIN outcome ON outcome.id = night.result WHERE outcome.criteria = $1";
        self.number(sql, &[name.into()]).await
    }
}
