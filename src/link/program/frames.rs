//! Frames of the pipe between harness and program. docs/model/pins.md describes them.

use std::io::{self, Read, Write};

/// Version of the protocol.
pub(super) const VERSION: u16 = 1;
/// Longest frame that is taken, bytes.
const FRAME_MAX: u32 = 16 << 20;

const BEGIN: u8 = 0x01;
const RUN: u8 = 0x02;
const READY: u8 = 0x81;
const DONE: u8 = 0x82;
const FAIL: u8 = 0x83;

/// What a program is started with.
pub(super) struct Begin<'a> {
    pub chip: &'a str,
    pub clock_hz: u32,
    pub reference_uv: u32,
    pub supply_uv: u32,
    pub clock_us: u64,
    /// Contents of the EEPROM.
    pub eeprom: &'a [u8],
}

/// A change of an input, as the frame has it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Change {
    pub at_ns: u64,
    pub is_analog: bool,
    pub id: u8,
    pub value: u32,
}

/// An event, as the frame has it.
#[derive(Clone, Copy, Debug)]
pub(super) struct Event {
    pub at_ns: u64,
    pub kind: u8,
    pub id: u8,
    pub value: u32,
}

/// What a program answers.
#[derive(Debug)]
pub(super) enum Answer {
    Ready { version: u16, identity: String },
    Done { events: Vec<Event> },
    Fail { kind: u8, text: String },
}

pub(super) fn write_begin(out: &mut impl Write, begin: &Begin<'_>) -> io::Result<()> {
    let mut body = vec![BEGIN];
    body.extend(VERSION.to_le_bytes());
    body.push(begin.chip.len() as u8);
    body.extend(begin.chip.as_bytes());
    body.extend(begin.clock_hz.to_le_bytes());
    body.extend(begin.reference_uv.to_le_bytes());
    body.extend(begin.supply_uv.to_le_bytes());
    body.extend(begin.clock_us.to_le_bytes());
    body.extend(1_u16.to_le_bytes());
    // Into the EEPROM, from its start.
    body.push(1);
    body.extend(0_u32.to_le_bytes());
    body.extend((begin.eeprom.len() as u32).to_le_bytes());
    body.extend(begin.eeprom);
    // No named values, no address of `loop`.
    body.push(0);
    body.push(0);
    body.extend(0_u32.to_le_bytes());
    write_frame(out, &body)
}

pub(super) fn write_run(out: &mut impl Write, until_ns: u64, changes: &[Change]) -> io::Result<()> {
    let mut body = Vec::with_capacity(16 + 14 * changes.len());
    body.push(RUN);
    body.extend(until_ns.to_le_bytes());
    body.extend((changes.len() as u16).to_le_bytes());
    for change in changes {
        body.extend(change.at_ns.to_le_bytes());
        body.push(u8::from(change.is_analog));
        body.push(change.id);
        body.extend(change.value.to_le_bytes());
    }
    write_frame(out, &body)
}

fn write_frame(out: &mut impl Write, body: &[u8]) -> io::Result<()> {
    let mut frame = Vec::with_capacity(4 + body.len());
    frame.extend((body.len() as u32).to_le_bytes());
    frame.extend(body);
    out.write_all(&frame)?;
    out.flush()
}

/// Reads the next answer.
///
/// # Errors
/// The pipe ends, or what comes is no frame.
pub(super) fn read_answer(from: &mut impl Read) -> io::Result<Answer> {
    let mut length = [0; 4];
    from.read_exact(&mut length)?;
    let length = u32::from_le_bytes(length);
    if length == 0 || length > FRAME_MAX {
        return Err(bad("a frame of impossible length"));
    }
    let mut body = Vec::new();
    from.take(length.into()).read_to_end(&mut body)?;
    if body.len() != length as usize {
        return Err(io::ErrorKind::UnexpectedEof.into());
    }
    parse(&body)
}

fn parse(body: &[u8]) -> io::Result<Answer> {
    let mut rest = Rest(body);
    match rest.byte()? {
        READY => {
            let version = rest.u16()?;
            let length = rest.byte()?;
            let identity = rest.text(length.into())?;
            Ok(Answer::Ready { version, identity })
        }
        DONE => {
            rest.u64()?;
            let count = rest.u32()? as usize;
            let mut events = Vec::with_capacity(count.min(4096));
            for _ in 0..count {
                events.push(Event {
                    at_ns: rest.u64()?,
                    kind: rest.byte()?,
                    id: rest.byte()?,
                    value: rest.u32()?,
                });
            }
            Ok(Answer::Done { events })
        }
        FAIL => {
            let kind = rest.byte()?;
            let length = rest.u16()?;
            let text = rest.text(length.into())?;
            Ok(Answer::Fail { kind, text })
        }
        other => Err(bad(&format!("a frame of the unknown type {other:#x}"))),
    }
}

fn bad(why: &str) -> io::Error {
    io::Error::new(io::ErrorKind::InvalidData, why.to_owned())
}

/// What is left of a frame.
struct Rest<'a>(&'a [u8]);

impl<'a> Rest<'a> {
    fn take(&mut self, count: usize) -> io::Result<&'a [u8]> {
        if self.0.len() < count {
            return Err(bad("a frame that ends too soon"));
        }
        let (taken, left) = self.0.split_at(count);
        self.0 = left;
        Ok(taken)
    }

    fn array<const N: usize>(&mut self) -> io::Result<[u8; N]> {
        let taken = self.take(N)?;
        taken
            .try_into()
            .map_err(|_| bad("a frame that ends too soon"))
    }

    fn byte(&mut self) -> io::Result<u8> {
        self.array::<1>().map(|[byte]| byte)
    }

    fn u16(&mut self) -> io::Result<u16> {
        self.array().map(u16::from_le_bytes)
    }

    fn u32(&mut self) -> io::Result<u32> {
        self.array().map(u32::from_le_bytes)
    }

    fn u64(&mut self) -> io::Result<u64> {
        self.array().map(u64::from_le_bytes)
    }

    fn text(&mut self, count: usize) -> io::Result<String> {
        let bytes = self.take(count)?;
        Ok(String::from_utf8_lossy(bytes).into_owned())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn framed(body: &[u8]) -> Vec<u8> {
        let mut frame = (body.len() as u32).to_le_bytes().to_vec();
        frame.extend(body);
        frame
    }

    #[test]
    fn answers_are_read() {
        let mut body = vec![DONE];
        body.extend(7_u64.to_le_bytes());
        body.extend(1_u32.to_le_bytes());
        body.extend(5_u64.to_le_bytes());
        body.extend([0, 13]);
        body.extend(1_u32.to_le_bytes());
        body.push(0);
        match read_answer(&mut framed(&body).as_slice()).unwrap() {
            Answer::Done { events } => {
                assert_eq!((events.len(), events[0].at_ns, events[0].id), (1, 5, 13));
            }
            other => panic!("{other:?}"),
        }
    }

    /// Whatever a program writes, it is an answer or an error.
    #[test]
    fn damaged_frames_are_errors() {
        for bytes in [
            &[][..],
            &[1, 0, 0],
            &[0, 0, 0, 0],
            &[255, 255, 255, 255, 1],
            &[9, 0, 0, 0, DONE],
            &framed(&[0x55]),
            &framed(&[DONE, 1, 2]),
            &framed(&[FAIL, 1, 9, 0, b'x']),
            &framed(&[DONE, 0, 0, 0, 0, 0, 0, 0, 0, 255, 255, 255, 255]),
        ] {
            assert!(read_answer(&mut &*bytes.to_vec()).is_err(), "{bytes:?}");
        }
    }
}
