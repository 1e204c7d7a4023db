//! Column maps that somebody at the desk gave: kept with the file that they were given for, and for the next
//! file of the same head.

use engine::read::map::ColumnMap;
use engine::read::map::Offer;
use engine::read::map::cannot_be;
use engine::read::map::offer;
use engine::recording::Format;
use engine::recording::Quantity;
use engine::recording::Recording;
use serde::Deserialize;
use serde::Serialize;

use crate::error::Result;
use crate::error::StoreError;
use crate::record::act::Act;
use crate::record::chain::sha256;
use crate::record::db::Conn;
use crate::record::tables::Setting;

/// A map as it is kept for files of one head.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct KeptMap {
    /// The map, as its file.
    pub(crate) map: String,
}

/// Where the map of a head is kept among the settings; `None` for a text without names, whose columns only
/// their place tells: another export of as many columns would be taken for it.
pub(crate) fn kept_under(offer: &Offer) -> Option<String> {
    let named = offer.head.iter().any(|name| !name.is_empty());
    named.then(|| format!("columns:{}", &sha256(offer.head.join("\u{1f}").as_bytes())[..32]))
}

/// The name under which the map of a file is kept.
pub(crate) fn kept_for(bytes: &[u8]) -> Option<String> {
    kept_under(&offer(bytes)?)
}

impl Conn {
    /// The map that is kept under a name, with when and by whom it was given.
    pub(crate) async fn kept_map(&mut self, name: &str) -> Result<Option<(KeptMap, Setting)>> {
        let Some(row) = self.setting(name).await? else { return Ok(None) };
        let kept = serde_json::from_str(&row.value).map_err(|error| StoreError::Damaged {
            says: format!("a kept column map cannot be read: {error}"),
        })?;
        Ok(Some((kept, row)))
    }
}

impl Act {
    /// Keeps a map for files of the same head, unless the very map is kept.
    pub(crate) async fn keep_map(&mut self, name: &str, map: &str) -> Result<()> {
        let map = of_any_night(map);
        let kept = self.conn().kept_map(name).await?;
        if kept.is_some_and(|(kept, _)| kept.map == map) {
            return Ok(());
        }
        let kept = KeptMap { map };
        let value = serde_json::to_string(&kept)
            .map_err(|error| StoreError::Damaged { says: error.to_string() })?;
        let (at, who) = (self.at(), self.author().login.clone());
        self.put(&mut Setting { id: 0, act: 0, name: name.to_owned(), value, at, who }).await
    }
}

/// A map without what is of one night alone: its date, and when it began.
fn of_any_night(map: &str) -> String {
    let Ok(mut map) = ColumnMap::parse(map) else { return map.to_owned() };
    (map.time.date, map.time.start) = (None, None);
    map.to_toml()
}

/// Why a file that was read must be asked about before it is kept: columns of it look like what is scored and
/// were not taken, or one can mean two things.
pub(crate) fn to_be_asked(recording: &Recording) -> Option<StoreError> {
    if recording.format != Format::Text {
        return None;
    }
    let not_taken = [Quantity::Spo2, Quantity::Pulse, Quantity::Tcpco2];
    let mut all: Vec<&str> = not_taken
        .into_iter()
        .filter_map(|quantity| recording.not_taken(quantity))
        .map(|finding| finding.sentence.as_str())
        .collect();
    let serious = |finding: &&engine::finding::Finding| {
        finding.code == "co2_or_oxygen" && finding.weight == engine::finding::Weight::Serious
    };
    all.extend(recording.findings.iter().find(serious).map(|one| one.sentence.as_str()));
    (!all.is_empty()).then(|| unknown(&all.join(" ")))
}

/// Refused until somebody says what the columns are.
pub(crate) fn unknown(says: &str) -> StoreError {
    let hint = "say what each column is; nothing has been kept yet";
    StoreError::refused("columns_unknown", says, hint)
}

/// Refuses a map that somebody gave now and that makes of the night what cannot be.
pub(crate) fn can_be(recording: &Recording, map: &str) -> Result<()> {
    let Ok(map) = ColumnMap::parse(map) else { return Ok(()) };
    match cannot_be(recording, &map) {
        Some(says) => Err(StoreError::refused(
            "map_wrong",
            says,
            "look at its first values, and choose another column or another unit",
        )),
        None => Ok(()),
    }
}

/// What a map takes from which column, in words.
pub(crate) fn in_words(map: &str) -> String {
    let Ok(map) = ColumnMap::parse(map) else { return String::new() };
    let one = |entry: &engine::read::map::ColumnEntry| {
        let quantity = Quantity::from_id(&entry.quantity).unwrap_or(Quantity::Other);
        let unit = entry.unit.as_ref().map(|unit| format!(" in {unit}")).unwrap_or_default();
        match quantity {
            Quantity::Other => format!("`{}` is not scored", entry.column),
            _ => format!("{} from `{}`{unit}", quantity.name(), entry.column),
        }
    };
    map.columns.iter().map(one).collect::<Vec<_>>().join(", ")
}
