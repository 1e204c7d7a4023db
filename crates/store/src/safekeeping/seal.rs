//! Frames: how a backup lies in its file, so that any change is found at the place where it is.
//!
//! The bytes are cut into chunks of 64 KiB. A frame is one byte (1 for the last, else 0), the length of what
//! follows as four bytes (least first), and the chunk with its seal. With a passphrase the seal is that of
//! XChaCha20-Poly1305, the nonce being 19 random bytes, the chunk's number and the last-byte (the STREAM
//! construction, `hoang-2015`), and the file's header is sealed with every chunk. Without one, the seal is
//! the first 16 bytes of SHA-256 over the same things: it finds damage, and hides nothing.

use std::io;
use std::io::Read;
use std::io::Write;

use chacha20poly1305::KeyInit as _;
use chacha20poly1305::XChaCha20Poly1305;
use chacha20poly1305::XNonce;
use chacha20poly1305::aead::Aead as _;
use chacha20poly1305::aead::Payload;
use sha2::Digest as _;
use sha2::Sha256;

const CHUNK: usize = 64 * 1024;
const SEAL: usize = 16;

/// Length of the random part of the nonces.
pub(crate) const NONCE: usize = 19;

/// What seals the chunks.
#[derive(Clone)]
pub(crate) struct Seal {
    /// SHA-256 of the file's header.
    pub(crate) header: [u8; 32],
    /// The key and the random part of the nonces; `None` without a passphrase.
    pub(crate) key: Option<([u8; 32], [u8; NONCE])>,
}

impl Seal {
    fn sealed(&self, number: u32, last: bool, chunk: &[u8]) -> io::Result<Vec<u8>> {
        let Some((key, nonce)) = &self.key else {
            return Ok([chunk, &self.plain(number, last, chunk)].concat());
        };
        let payload = Payload { msg: chunk, aad: &self.header };
        let sealed =
            XChaCha20Poly1305::new(&(*key).into()).encrypt(&of(nonce, number, last), payload);
        sealed.map_err(|_| io::Error::other("the chunk cannot be sealed"))
    }

    fn opened(&self, number: u32, last: bool, sealed: &[u8]) -> Option<Vec<u8>> {
        let Some((key, nonce)) = &self.key else {
            let (chunk, seal) = sealed.split_at_checked(sealed.len().checked_sub(SEAL)?)?;
            return (self.plain(number, last, chunk) == seal).then(|| chunk.to_vec());
        };
        let payload = Payload { msg: sealed, aad: &self.header };
        XChaCha20Poly1305::new(&(*key).into()).decrypt(&of(nonce, number, last), payload).ok()
    }

    fn plain(&self, number: u32, last: bool, chunk: &[u8]) -> [u8; SEAL] {
        let hash = Sha256::new()
            .chain_update(self.header)
            .chain_update(number.to_be_bytes())
            .chain_update([u8::from(last)])
            .chain_update(chunk)
            .finalize();
        std::array::from_fn(|at| hash[at])
    }
}

fn of(random: &[u8; NONCE], number: u32, last: bool) -> XNonce {
    let mut nonce = [0; 24];
    nonce[..NONCE].copy_from_slice(random);
    nonce[NONCE..23].copy_from_slice(&number.to_be_bytes());
    nonce[23] = u8::from(last);
    nonce.into()
}

/// Writes frames. Only [`FrameWriter::finish`] makes the file whole.
pub(crate) struct FrameWriter<W: Write> {
    to: W,
    seal: Seal,
    number: u32,
    chunk: Vec<u8>,
}

impl<W: Write> FrameWriter<W> {
    pub(crate) fn new(to: W, seal: Seal) -> Self {
        Self { to, seal, number: 0, chunk: Vec::with_capacity(CHUNK) }
    }

    fn frame(&mut self, last: bool) -> io::Result<()> {
        let sealed = self.seal.sealed(self.number, last, &self.chunk)?;
        let length = u32::try_from(sealed.len()).map_err(io::Error::other)?;
        self.to.write_all(&[u8::from(last)])?;
        self.to.write_all(&length.to_le_bytes())?;
        self.to.write_all(&sealed)?;
        self.chunk.clear();
        // A number used twice would use a nonce twice.
        let next = self.number.checked_add(1);
        self.number = next.ok_or_else(|| io::Error::other("the backup is too long"))?;
        Ok(())
    }

    /// Writes the last frame and gives back what was written to.
    pub(crate) fn finish(mut self) -> io::Result<W> {
        self.frame(true)?;
        self.to.flush()?;
        Ok(self.to)
    }
}

impl<W: Write> Write for FrameWriter<W> {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        if self.chunk.len() == CHUNK {
            self.frame(false)?;
        }
        let taken = bytes.len().min(CHUNK - self.chunk.len());
        self.chunk.extend_from_slice(&bytes[..taken]);
        Ok(taken)
    }

    fn flush(&mut self) -> io::Result<()> {
        self.to.flush()
    }
}

/// Reads frames. The end is only told after a last frame with nothing behind it.
pub(crate) struct FrameReader<R: Read> {
    from: R,
    seal: Seal,
    number: u32,
    chunk: Vec<u8>,
    at: usize,
    ended: bool,
}

impl<R: Read> FrameReader<R> {
    pub(crate) fn new(from: R, seal: Seal) -> Self {
        Self { from, seal, number: 0, chunk: Vec::new(), at: 0, ended: false }
    }

    fn frame(&mut self) -> io::Result<()> {
        let damaged = |what: &str, number: u32| {
            io::Error::new(
                io::ErrorKind::InvalidData,
                format!(
                    "the file is {what} in its part {} (parts are 64 KiB)",
                    u64::from(number) + 1
                ),
            )
        };
        let mut head = [0; 5];
        let mut sealed = Vec::new();
        let read = self.from.read_exact(&mut head);
        read.map_err(|_| damaged("broken off", self.number))?;
        let [last, length @ ..] = head;
        let length = u32::from_le_bytes(length) as usize;
        if last > 1 || !(SEAL..=CHUNK + SEAL).contains(&length) {
            return Err(damaged("damaged", self.number));
        }
        sealed.resize(length, 0);
        let read = self.from.read_exact(&mut sealed);
        read.map_err(|_| damaged("broken off or damaged", self.number))?;
        let opened = self.seal.opened(self.number, last == 1, &sealed);
        self.chunk = opened.ok_or_else(|| damaged("damaged", self.number))?;
        self.at = 0;
        self.ended = last == 1;
        if self.ended && self.from.read(&mut [0])? != 0 {
            return Err(damaged("followed by something", self.number));
        }
        self.number = self.number.checked_add(1).ok_or_else(|| damaged("too long", self.number))?;
        Ok(())
    }
}

impl<R: Read> Read for FrameReader<R> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        while self.at == self.chunk.len() && !self.ended {
            self.frame()?;
        }
        let taken = into.len().min(self.chunk.len() - self.at);
        into[..taken].copy_from_slice(&self.chunk[self.at..self.at + taken]);
        self.at += taken;
        Ok(taken)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn seals() -> [Seal; 2] {
        [
            Seal { header: [7; 32], key: None },
            Seal { header: [7; 32], key: Some(([1; 32], [2; NONCE])) },
        ]
    }

    fn framed(seal: &Seal, bytes: &[u8]) -> Vec<u8> {
        let mut frames = FrameWriter::new(Vec::new(), seal.clone());
        frames.write_all(bytes).unwrap();
        frames.finish().unwrap()
    }

    fn unframed(seal: &Seal, file: &[u8]) -> Result<Vec<u8>, String> {
        let mut bytes = Vec::new();
        let read = FrameReader::new(file, seal.clone()).read_to_end(&mut bytes);
        read.map(|_| bytes).map_err(|error| error.to_string())
    }

    #[test]
    fn what_was_framed_comes_back_at_every_length() {
        for seal in seals() {
            for length in [0, 1, CHUNK - 1, CHUNK, CHUNK + 1, 3 * CHUNK] {
                let bytes: Vec<u8> = (0..=250).cycle().take(length).collect();
                assert_eq!(unframed(&seal, &framed(&seal, &bytes)), Ok(bytes));
            }
        }
    }

    #[test]
    fn every_flipped_bit_and_every_cut_is_found() {
        for seal in seals() {
            let file = framed(&seal, b"rows of a record");
            for at in 0..file.len() {
                for bit in 0..8 {
                    let mut flipped = file.clone();
                    flipped[at] ^= 1 << bit;
                    assert!(unframed(&seal, &flipped).is_err(), "byte {at}, bit {bit}");
                }
                assert!(unframed(&seal, &file[..at]).is_err(), "cut at {at}");
            }
            assert!(unframed(&seal, &[file, vec![0]].concat()).is_err());
        }
    }

    #[test]
    fn chunks_that_change_places_or_go_are_found() {
        for seal in seals() {
            let file = framed(&seal, &vec![9; 3 * CHUNK]);
            let frame = 5 + CHUNK + SEAL;
            let (one, two, rest) = (&file[..frame], &file[frame..2 * frame], &file[2 * frame..]);
            assert!(unframed(&seal, &[one, two, rest].concat()).is_ok());
            assert!(unframed(&seal, &[two, one, rest].concat()).is_err());
            assert!(unframed(&seal, &[one, rest].concat()).is_err());
            assert!(unframed(&seal, &[one, two].concat()).is_err());
        }
    }

    #[test]
    fn another_key_or_header_opens_nothing() {
        let [_, seal] = seals();
        let file = framed(&seal, b"rows");
        let other_key = Seal { key: Some(([3; 32], [2; NONCE])), ..seal.clone() };
        let other_header = Seal { header: [8; 32], ..seal };
        assert!(unframed(&other_key, &file).is_err() && unframed(&other_header, &file).is_err());
    }
}
