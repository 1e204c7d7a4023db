//! Style, script and typeface, in the program itself: a hospital network has no outside.
//!
//! They are served under a folder named by the hash of them all, so that a browser may keep them for a year
//! and still never mixes two releases.

use std::sync::LazyLock;

use axum::extract::Path;
use axum::http::StatusCode;
use axum::http::header;
use axum::response::IntoResponse;
use axum::response::Response;
use store::record::chain::sha256;

struct Asset {
    name: &'static str,
    kind: &'static str,
    bytes: &'static [u8],
}

const SCRIPT: &str = "text/javascript; charset=utf-8";
const STYLE: &str = "text/css; charset=utf-8";
const FONT: &str = "font/otf";

const ALL: &[Asset] = &[
    Asset { name: "base.css", kind: STYLE, bytes: include_bytes!("../assets/base.css") },
    Asset { name: "parts.css", kind: STYLE, bytes: include_bytes!("../assets/parts.css") },
    Asset { name: "compare.css", kind: STYLE, bytes: include_bytes!("../assets/compare.css") },
    Asset { name: "main.js", kind: SCRIPT, bytes: include_bytes!("../assets/main.js") },
    Asset { name: "idle.js", kind: SCRIPT, bytes: include_bytes!("../assets/idle.js") },
    Asset { name: "form.js", kind: SCRIPT, bytes: include_bytes!("../assets/form.js") },
    Asset { name: "gather.js", kind: SCRIPT, bytes: include_bytes!("../assets/gather.js") },
    Asset { name: "live.js", kind: SCRIPT, bytes: include_bytes!("../assets/live.js") },
    Asset { name: "stream.js", kind: SCRIPT, bytes: include_bytes!("../assets/stream.js") },
    Asset {
        name: "stream-worker.js",
        kind: SCRIPT,
        bytes: include_bytes!("../assets/stream-worker.js"),
    },
    Asset { name: "criteria.css", kind: STYLE, bytes: include_bytes!("../assets/criteria.css") },
    Asset { name: "criteria.js", kind: SCRIPT, bytes: include_bytes!("../assets/criteria.js") },
    Asset { name: "night.css", kind: STYLE, bytes: include_bytes!("../assets/night.css") },
    Asset { name: "night.js", kind: SCRIPT, bytes: include_bytes!("../assets/night.js") },
    Asset { name: "nights.js", kind: SCRIPT, bytes: include_bytes!("../assets/nights.js") },
    Asset { name: "drop.js", kind: SCRIPT, bytes: include_bytes!("../assets/drop.js") },
    Asset { name: "others.js", kind: SCRIPT, bytes: include_bytes!("../assets/others.js") },
    Asset { name: "report.js", kind: SCRIPT, bytes: include_bytes!("../assets/report.js") },
    Asset { name: "strip.js", kind: SCRIPT, bytes: include_bytes!("../assets/strip.js") },
    Asset { name: "strip-axis.js", kind: SCRIPT, bytes: include_bytes!("../assets/strip-axis.js") },
    Asset { name: "strip-data.js", kind: SCRIPT, bytes: include_bytes!("../assets/strip-data.js") },
    Asset { name: "strip-draw.js", kind: SCRIPT, bytes: include_bytes!("../assets/strip-draw.js") },
    Asset {
        name: "strip-input.js",
        kind: SCRIPT,
        bytes: include_bytes!("../assets/strip-input.js"),
    },
    Asset { name: "strip-lane.js", kind: SCRIPT, bytes: include_bytes!("../assets/strip-lane.js") },
    Asset {
        name: "strip-overview.js",
        kind: SCRIPT,
        bytes: include_bytes!("../assets/strip-overview.js"),
    },
    Asset {
        name: "strip-trace.js",
        kind: SCRIPT,
        bytes: include_bytes!("../assets/strip-trace.js"),
    },
    Asset {
        name: "strip-window.js",
        kind: SCRIPT,
        bytes: include_bytes!("../assets/strip-window.js"),
    },
    Asset { name: "plot.css", kind: STYLE, bytes: include_bytes!("../assets/plot.css") },
    Asset { name: "icon.svg", kind: "image/svg+xml", bytes: include_bytes!("../assets/icon.svg") },
    Asset {
        name: "regular.otf",
        kind: FONT,
        bytes: include_bytes!("../../paper/fonts/Inter-Regular.otf"),
    },
    Asset {
        name: "semibold.otf",
        kind: FONT,
        bytes: include_bytes!("../../paper/fonts/Inter-SemiBold.otf"),
    },
];

/// The folder all assets lie in.
pub static FOLDER: LazyLock<String> = LazyLock::new(|| {
    let all: Vec<u8> = ALL.iter().flat_map(|asset| asset.bytes).copied().collect();
    format!("/assets/{}", &sha256(&all)[..16])
});

/// `GET /assets/{hash}/{name}`. Another release's hash is answered too: its page is still open somewhere.
pub async fn asset(Path((hash, name)): Path<(String, String)>) -> Response {
    let Some(asset) = ALL.iter().find(|asset| asset.name == name) else {
        return StatusCode::NOT_FOUND.into_response();
    };
    let current = FOLDER.ends_with(&hash) && hash.len() == 16;
    let keep = if current { "public, max-age=31536000, immutable" } else { "no-store" };
    ([(header::CONTENT_TYPE, asset.kind), (header::CACHE_CONTROL, keep)], asset.bytes)
        .into_response()
}
