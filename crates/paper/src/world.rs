//! The typesetter's whole world: one template, two files, two faces of one typeface, no clock.

use std::sync::LazyLock;

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

const TEMPLATE: &str = include_str!("report.typ");
const FACES: [&[u8]; 2] =
    [include_bytes!("../fonts/Inter-Regular.otf"), include_bytes!("../fonts/Inter-SemiBold.otf")];

static LIBRARY: LazyLock<LazyHash<Library>> = LazyLock::new(|| LazyHash::new(Library::default()));
static FONTS: LazyLock<Vec<Font>> =
    LazyLock::new(|| FACES.into_iter().flat_map(|face| Font::iter(Bytes::new(face))).collect());
static BOOK: LazyLock<LazyHash<FontBook>> =
    LazyLock::new(|| LazyHash::new(FontBook::from_fonts(FONTS.iter())));

/// Whether every face has the letter.
pub(crate) fn has(letter: char) -> bool {
    FONTS.iter().all(|font| font.info().coverage.contains(u32::from(letter)))
}

/// Everything one report is set from.
#[derive(Debug)]
pub(crate) struct World {
    main: Source,
    data: (FileId, Bytes),
    strip: (FileId, Bytes),
}

impl World {
    /// A world with these words and this picture.
    pub(crate) fn new(data: String, strip: String) -> Self {
        Self {
            main: Source::new(file("/report.typ"), TEMPLATE.into()),
            data: (file("/data.json"), Bytes::from_string(data)),
            strip: (file("/strip.svg"), Bytes::from_string(strip)),
        }
    }
}

/// A file of this world. The three paths are written in this module and are sound.
fn file(path: &str) -> FileId {
    let path = VirtualPath::new(path).expect("a path written in this module");
    RootedPath::new(VirtualRoot::Project, path).intern()
}

impl typst::World for World {
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
        if id == self.main.id() { Ok(self.main.clone()) } else { Err(FileError::NotSource) }
    }

    fn file(&self, id: FileId) -> FileResult<Bytes> {
        [&self.data, &self.strip]
            .into_iter()
            .find(|(known, _)| *known == id)
            .map(|(_, bytes)| bytes.clone())
            .ok_or(FileError::AccessDenied)
    }

    fn font(&self, index: usize) -> Option<Font> {
        FONTS.get(index).cloned()
    }

    fn today(&self, _: Option<Duration>) -> Option<Datetime> {
        None
    }
}

/// Lays the report out in pages.
pub(crate) fn set(world: &World) -> Result<PagedDocument, PaperError> {
    typst::compile::<PagedDocument>(world).output.map_err(|errors| said(&errors))
}

/// Sets and exports the report; `date` stands in the file as its date of making.
pub(crate) fn export(
    world: &World,
    id: &str,
    date: Option<(i16, i8, i8)>,
) -> Result<Vec<u8>, PaperError> {
    let document = set(world)?;
    let standards = PdfStandards::new(&[PdfStandard::A_2a, PdfStandard::Ua_1])
        .map_err(|e| PaperError { said: vec![e.message().to_string()] })?;
    let options = PdfOptions {
        ident: Smart::Custom(id.to_owned()),
        creator: Smart::Custom(Some(engine::ENGINE.into())),
        timestamp: noon(date).map(Timestamp::new_utc),
        standards,
        ..PdfOptions::default()
    };
    typst_pdf::pdf(&document, &options).map_err(|e| said(&e))
}

/// Noon of the night's last day: the file must carry a date, and reads no clock. A night whose date is
/// not known stands at the start of the year 2000, which no report prints.
fn noon(date: Option<(i16, i8, i8)>) -> Option<Datetime> {
    let (year, month, day) = date.unwrap_or((2000, 1, 1));
    let (month, day) = (u8::try_from(month).ok()?, u8::try_from(day).ok()?);
    Datetime::from_ymd_hms(i32::from(year), month, day, 12, 0, 0)
}

fn said(errors: &[SourceDiagnostic]) -> PaperError {
    PaperError { said: errors.iter().map(|error| error.message.to_string()).collect() }
}
