//! The typesetter's whole world: one template, what the templates share, the words, the picture, two faces, no clock.

use std::collections::BTreeMap;
use std::sync::{LazyLock, Mutex};

use engine::print::{Look, svg_with_lanes};
use engine::report::Picture;
use typst::Library;
use typst::LibraryExt;
use typst::diag::{FileError, FileResult, SourceDiagnostic};
use typst::foundations::{Bytes, Datetime, Duration, Smart};
use typst::syntax::{FileId, RootedPath, Source, VirtualPath, VirtualRoot};
use typst::text::{Font, FontBook};
use typst::utils::LazyHash;
use typst_layout::PagedDocument;
use typst_pdf::{PdfOptions, PdfStandard, PdfStandards, Timestamp};

use crate::PaperError;
use crate::printable;

const FACES: [&[u8]; 2] =
    [include_bytes!("../fonts/Inter-Regular.otf"), include_bytes!("../fonts/Inter-SemiBold.otf")];

static LIBRARY: LazyLock<LazyHash<Library>> = LazyLock::new(|| LazyHash::new(Library::default()));
static FONTS: LazyLock<Vec<Font>> =
    LazyLock::new(|| FACES.into_iter().flat_map(|face| Font::iter(Bytes::new(face))).collect());
static BASE: LazyLock<Source> =
    LazyLock::new(|| Source::new(file("/base.typ"), include_str!("typ/base.typ").into()));
static BOOK: LazyLock<LazyHash<FontBook>> =
    LazyLock::new(|| LazyHash::new(FontBook::from_fonts(FONTS.iter())));

/// Whether every face has the letter.
pub(crate) fn has(letter: char) -> bool {
    FONTS.iter().all(|font| font.info().coverage.contains(u32::from(letter)))
}

/// One kind of paper.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Template {
    /// Its path in this world.
    pub(crate) path: &'static str,
    /// How its pages are set.
    pub(crate) text: &'static str,
}

/// Everything one paper is set from.
#[derive(Debug)]
pub(crate) struct World<'a> {
    main: Source,
    data: (FileId, Bytes),
    picture: Option<&'a Picture>,
    signed: Option<Bytes>,
    drawn: Mutex<BTreeMap<u16, Bytes>>,
}

impl<'a> World<'a> {
    /// A world with these words.
    pub(crate) fn new(template: Template, data: String) -> Self {
        Self {
            main: Source::new(file(template.path), template.text.into()),
            data: (file("/data.json"), Bytes::from_string(data)),
            picture: None,
            signed: None,
            drawn: Mutex::default(),
        }
    }

    /// The same world with a picture of the night: `/strip-80.svg` has lanes of 80 % of their usual
    /// height, and is drawn when the template asks for it.
    pub(crate) fn with_picture(self, picture: &'a Picture) -> Self {
        Self { picture: Some(picture), ..self }
    }

    /// The same world with a signed paper in it, whose pages are pictures.
    pub(crate) fn with_signed(self, pdf: Bytes) -> Self {
        Self { signed: Some(pdf), ..self }
    }

    fn strip(&self, path: &str) -> Option<Bytes> {
        let percent: u16 = path.strip_prefix("/strip-")?.strip_suffix(".svg")?.parse().ok()?;
        let picture = self.picture?;
        let mut drawn = self.drawn.lock().ok()?;
        let draw = || {
            let height = f64::from(percent) / 100.0;
            Bytes::from_string(printable::text(&svg_with_lanes(picture, Look::Paper, height)))
        };
        Some(drawn.entry(percent).or_insert_with(draw).clone())
    }
}

/// A file of this world. The paths are written in this crate and are sound.
fn file(path: &str) -> FileId {
    let path = VirtualPath::new(path).expect("a path written in this crate");
    RootedPath::new(VirtualRoot::Project, path).intern()
}

impl typst::World for World<'_> {
    fn library(&self) -> &LazyHash<Library> {
        &LIBRARY
    }

    fn book(&self) -> &LazyHash<FontBook> {
        &BOOK
    }

    fn main(&self) -> FileId {
        self.main.id()
    }

    fn source(&self, id: FileId) -> FileResult<Source> {
        [&self.main, &*BASE]
            .into_iter()
            .find(|known| known.id() == id)
            .cloned()
            .ok_or(FileError::NotSource)
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        if id == self.data.0 {
            return Ok(self.data.1.clone());
        }
        if id.get().vpath().get_with_slash() == "/signed.pdf" {
            return self.signed.clone().ok_or(FileError::AccessDenied);
        }
        self.strip(id.get().vpath().get_with_slash()).ok_or(FileError::AccessDenied)
    }

    fn font(&self, index: usize) -> Option<Font> {
        FONTS.get(index).cloned()
    }

    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}

/// Lays the paper out in pages.
pub(crate) fn set(world: &World<'_>) -> Result<PagedDocument, PaperError> {
    typst::compile::<PagedDocument>(world).output.map_err(|errors| said(&errors))
}

/// Sets and exports the paper; `date` stands in the file as its date of making.
pub(crate) fn export(
    world: &World<'_>,
    id: &str,
    date: Option<(i16, i8, i8)>,
) -> Result<Vec<u8>, PaperError> {
    let document = set(world)?;
    let standards = PdfStandards::new(&[PdfStandard::A_2a, PdfStandard::Ua_1])
        .map_err(|e| PaperError::NotSet { said: vec![e.message().to_string()] })?;
    let options = PdfOptions {
        ident: Smart::Custom(id.to_owned()),
        creator: Smart::Custom(Some(engine::ENGINE.into())),
        timestamp: noon(date).map(Timestamp::new_utc),
        standards,
        ..PdfOptions::default()
    };
    typst_pdf::pdf(&document, &options).map_err(|e| said(&e))
}

/// Exports a paper that holds another's pages, which no archive standard allows; its bytes have no date of their own.
pub(crate) fn export_plain(document: &PagedDocument) -> Result<Vec<u8>, PaperError> {
    let options = PdfOptions {
        creator: Smart::Custom(Some(engine::ENGINE.into())),
        timestamp: noon(None).map(Timestamp::new_utc),
        ..PdfOptions::default()
    };
    typst_pdf::pdf(document, &options).map_err(|e| said(&e))
}

/// Noon of the day: the file must carry a date, and reads no clock. A day that is not known stands at
/// the start of the year 2000, which no paper prints.
fn noon(date: Option<(i16, i8, i8)>) -> Option<Datetime> {
    let (year, month, day) = date.unwrap_or((2000, 1, 1));
    let (month, day) = (u8::try_from(month).ok()?, u8::try_from(day).ok()?);
    Datetime::from_ymd_hms(i32::from(year), month, day, 12, 0, 0)
}

fn said(errors: &[SourceDiagnostic]) -> PaperError {
    PaperError::NotSet { said: errors.iter().map(|error| error.message.to_string()).collect() }
}
