//! A mark laid over a paper that was signed and stands no more.
//!
//! A report is better printed again with its mark ([`pdf`](crate::pdf) with a stamp in the heading): that one is tagged
//! and can be listened to. Where another release made it, it does not come out as it was signed, and only the kept pages
//! themselves hold what was signed: they are taken as pictures, line for line, and the mark is laid over them.

use engine::print::Stamp;
use serde_json::json;
use typst::foundations::Bytes;

use crate::error::PaperError;
use crate::printable;
use crate::world;
use crate::world::{Template, World};

const TEMPLATE: Template = Template { path: "/marked.typ", text: include_str!("typ/marked.typ") };

/// No paper of this program has more pages.
const MOST: usize = 60;

/// The pages of `pdf` with a mark across each.
///
/// # Errors
/// [`PaperError::NotSet`] when they cannot be read or set.
pub fn marked(pdf: &[u8], stamp: &Stamp) -> Result<Vec<u8>, PaperError> {
    let signed = Bytes::new(pdf.to_vec());
    let world = |pages| World::new(TEMPLATE, data(stamp, pages)).with_signed(signed.clone());
    // The typesetter counts no pages; the first that is not there ends the paper.
    let mut whole = world::set(&world(1))?;
    let mut pages = 1;
    while pages < MOST
        && let Ok(more) = world::set(&world(pages + 1))
    {
        (whole, pages) = (more, pages + 1);
    }
    let made = world::export_plain(&whole);
    typst::comemo::evict(8);
    made
}

fn data(stamp: &Stamp, pages: usize) -> String {
    printable::value(json!({
        "title": format!("{}: a signed report", stamp.word),
        "engine": engine::ENGINE,
        "sheet": "a4",
        "word": stamp.word,
        "says": stamp.says,
        "pages": pages,
    }))
    .to_string()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sample;

    #[test]
    fn every_page_of_a_signed_paper_is_there_with_the_mark() {
        let stamp =
            Stamp { word: "WITHDRAWN".to_owned(), says: "On a day, by somebody.".to_owned() };
        let leaflet = crate::leaflet(&sample::leaflet().unwrap()).unwrap();
        let signed = Bytes::new(leaflet.clone());
        let set = |pages| {
            world::set(&World::new(TEMPLATE, data(&stamp, pages)).with_signed(signed.clone()))
        };
        assert_eq!(set(3).unwrap().pages().len(), 3);
        assert!(set(4).is_err(), "a page that is not there");
        let once = marked(&leaflet, &stamp).unwrap();
        assert_eq!(once, marked(&leaflet, &stamp).unwrap());
        assert!(marked(b"no paper", &stamp).is_err());
    }
}
