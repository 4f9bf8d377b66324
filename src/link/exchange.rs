//! One question, one answer: repeats, time limits, counts.

use crate::error::LinkError;
use crate::frames::FrameLog;
use crate::line::Line;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};
use trimproof_harness::run::Traffic;
use trimproof_wire::{Answer, Decoder, FRAME_MAX, Request, encode};

/// How long one wait lasts at most before the user's wish to stop is looked at.
const LOOK_EVERY: Duration = Duration::from_millis(20);

/// Bytes of one frame that are kept for the log; of a line that babbles no more than these are in
/// memory.
const RAW_MAX: usize = 2 * FRAME_MAX;

/// How long an answer is waited for and how often a request is sent.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Patience {
    /// Wait for the answer to the first sending; each further one is waited for twice as long as
    /// the one before ...
    pub first: Duration,
    /// ... but no longer than this.
    pub most: Duration,
    /// How often a request is sent again.
    pub repeats: u32,
}

impl Patience {
    /// For emulators: six sendings, the first waited for 200 ms, each further one twice as long up
    /// to 1 s. (An AVR on a machine with eight busy processes on two cores was seen to answer after
    /// 1.1 s.)
    pub const EMULATED: Patience = Patience {
        first: Duration::from_millis(200),
        most: Duration::from_secs(1),
        repeats: 5,
    };

    /// For a serial port: six sendings; the first is waited for 25 ms and the time that the longest
    /// frame takes, each further one twice as long, up to 400 ms: a busy machine can hold bytes
    /// back for that long.
    pub fn on_port(baud: u32) -> Self {
        // Ten bits a byte.
        let frames = 10 * FRAME_MAX as u64 * 1_000_000 / u64::from(baud.max(1));
        let wait = Duration::from_micros(25_000 + frames);
        Self {
            first: wait,
            most: wait.max(Duration::from_millis(400)),
            repeats: 5,
        }
    }

    /// The same for a board that trips by itself after `limit` of silence: no answer is waited for
    /// longer than that.
    pub(crate) fn within(self, limit: Duration) -> Bounded {
        Bounded {
            patience: self,
            limit: Some(limit),
            stoppable: true,
        }
    }

    /// The same for a request that must go out even if the user wants to stop.
    pub(crate) fn to_the_end(self) -> Bounded {
        Bounded {
            stoppable: false,
            ..self.into()
        }
    }

    fn wait(&self, attempt: u32) -> Duration {
        let doubled = self.first.saturating_mul(1 << attempt.min(16));
        doubled.min(self.most)
    }
}

/// Patience with its bounds.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Bounded {
    patience: Patience,
    /// All attempts together take no longer.
    limit: Option<Duration>,
    /// Whether the user's wish to stop ends it.
    stoppable: bool,
}

impl From<Patience> for Bounded {
    fn from(patience: Patience) -> Self {
        Self {
            patience,
            limit: None,
            stoppable: true,
        }
    }
}

/// A line on which questions are asked.
pub(crate) struct Exchange {
    line: Box<dyn Line>,
    decoder: Decoder,
    log: Option<FrameLog>,
    /// Set when the user wants to stop.
    stop: Option<&'static AtomicBool>,
    counts: Traffic,
    raw: Vec<u8>,
    /// Bytes of the present frame that are not in `raw`.
    raw_left_out: usize,
    /// What came since the present question was asked that was no answer to it.
    last_ignored: String,
}

impl Exchange {
    pub(crate) fn new(
        line: Box<dyn Line>,
        log: Option<&FrameLog>,
        stop: Option<&'static AtomicBool>,
    ) -> Self {
        Self {
            stop,
            line,
            decoder: Decoder::new(),
            log: log.map(FrameLog::for_link),
            counts: Traffic::default(),
            raw: Vec::new(),
            raw_left_out: 0,
            last_ignored: String::new(),
        }
    }

    pub(crate) fn description(&self) -> String {
        self.line.description()
    }

    /// What was counted since the last call.
    pub(crate) fn take_counts(&mut self) -> Traffic {
        std::mem::take(&mut self.counts)
    }

    pub(crate) fn counts(&self) -> &Traffic {
        &self.counts
    }

    /// Waits until what was sent is on its way, as far as the system shows it.
    pub(crate) fn flush(&mut self) {
        let _ = self.line.flush();
    }

    /// Sends `request` until `pick` finds an answer to it among what comes.
    ///
    /// # Errors
    /// No answer within the bound, the user wants to stop, the line is gone, or what `pick` makes
    /// of an answer.
    pub(crate) fn ask<T>(
        &mut self,
        request: &Request,
        how: impl Into<Bounded>,
        pick: &dyn Fn(&Answer) -> Option<Result<T, LinkError>>,
    ) -> Result<T, LinkError> {
        let Bounded {
            patience,
            limit,
            stoppable,
        } = how.into();
        // A zero byte before a repetition ends whatever the board may have heard before it.
        let mut frame = [0; FRAME_MAX + 1];
        let length = encode(request, &mut frame[1..]).map_err(|_| LinkError::TooLong)?;
        let (damaged, ignored) = (self.counts.damaged, self.counts.ignored);
        let bytes_in = self.counts.bytes_in;
        let asked = Instant::now();
        let mut attempts = 0;
        for attempt in 0..=patience.repeats {
            let left = limit.map(|limit| limit.saturating_sub(asked.elapsed()));
            if attempt > 0 && left.is_some_and(|left| left.is_zero()) {
                break;
            }
            attempts = attempt + 1;
            let bytes = match attempt {
                0 => &frame[1..=length],
                _ => &frame[..=length],
            };
            self.counts.repeats += u64::from(attempt > 0);
            self.send(bytes, request)?;
            let wait = patience.wait(attempt).min(left.unwrap_or(Duration::MAX));
            if let Some(found) = self.listen(wait, stoppable, pick)? {
                if matches!(request, Request::Sample(_)) && found.is_ok() {
                    self.counts.ticks += 1;
                    // A tick takes no 500 000 years.
                    self.counts
                        .round_trips
                        .push(asked.elapsed().as_micros() as u64);
                }
                return found;
            }
        }
        let damaged = self.counts.damaged - damaged;
        let ignored = self.counts.ignored - ignored;
        let mut came = match self.counts.bytes_in - bytes_in {
            0 => "nothing".to_owned(),
            bytes => format!("{bytes} bytes, {damaged} damaged frames, {ignored} other messages"),
        };
        if ignored > 0 {
            came.push_str(&format!(", the last `{}`", self.last_ignored));
        }
        Err(LinkError::NoAnswer {
            line: self.line.description(),
            request: name_of(request),
            attempts,
            waited_ms: asked.elapsed().as_millis() as u64,
            came,
        })
    }

    fn send(&mut self, bytes: &[u8], request: &Request) -> Result<(), LinkError> {
        self.counts.bytes_out += bytes.len() as u64;
        if let Some(log) = &self.log {
            log.note(true, &name_of(request), bytes, 0);
        }
        self.line
            .write_all(bytes)
            .map_err(|error| self.gone(&error))
    }

    fn listen<T>(
        &mut self,
        wait: Duration,
        stoppable: bool,
        pick: &dyn Fn(&Answer) -> Option<Result<T, LinkError>>,
    ) -> Result<Option<Result<T, LinkError>>, LinkError> {
        let deadline = Instant::now() + wait;
        let mut buffer = [0; 512];
        // Time alone ends an attempt: a line that babbles must not use them all up at once.
        loop {
            let stop = self.stop.filter(|_| stoppable);
            if stop.is_some_and(|stop| stop.load(Ordering::Relaxed)) {
                return Err(LinkError::Stopped);
            }
            let left = deadline.saturating_duration_since(Instant::now());
            if left.is_zero() {
                return Ok(None);
            }
            let slice = if stop.is_some() {
                left.min(LOOK_EVERY)
            } else {
                left
            };
            let count = self
                .line
                .read(&mut buffer, slice)
                .map_err(|error| self.gone(&error))?;
            if count == 0 {
                if slice < left {
                    continue;
                }
                return Ok(None);
            }
            self.counts.bytes_in += count as u64;
            let mut found = None;
            for byte in &buffer[..count] {
                if let Some(answer) = self.take(*byte) {
                    match found.is_none().then(|| pick(&answer)).flatten() {
                        Some(one) => found = Some(one),
                        None => {
                            self.counts.ignored += 1;
                            self.last_ignored = short(&answer);
                        }
                    }
                }
            }
            if found.is_some() {
                return Ok(found);
            }
        }
    }

    fn take(&mut self, byte: u8) -> Option<Answer> {
        if self.log.is_some() {
            if self.raw.len() < RAW_MAX {
                self.raw.push(byte);
            } else {
                self.raw_left_out += 1;
            }
        }
        let taken = self.decoder.take::<Answer>(byte);
        if let Some(log) = &self.log
            && byte == 0
        {
            let what = match &taken {
                Some(Ok(answer)) => short(answer),
                Some(Err(error)) => format!("damaged: {error:?}"),
                None => "empty".to_owned(),
            };
            log.note(false, &what, &self.raw, self.raw_left_out);
            self.raw.clear();
            self.raw_left_out = 0;
        }
        match taken? {
            Ok(answer) => Some(answer),
            Err(_) => {
                self.counts.damaged += 1;
                None
            }
        }
    }

    fn gone(&self, error: &std::io::Error) -> LinkError {
        LinkError::Gone {
            line: self.line.description(),
            why: match error.kind() {
                std::io::ErrorKind::UnexpectedEof => "it closed".to_owned(),
                _ => error.to_string(),
            },
        }
    }
}

/// A request in a few words.
pub(crate) fn name_of(request: &Request) -> String {
    match request {
        Request::Hello(hello) => format!("hello (version {})", hello.version),
        Request::Begin(begin) => format!("begin of run {}", begin.run),
        Request::Sample(sample) => format!("sample of tick {}", sample.inputs.tick),
        Request::Trip => "trip".to_owned(),
        Request::End { run } => format!("end of run {run}"),
    }
}

/// An answer in a few words.
fn short(answer: &Answer) -> String {
    match answer {
        Answer::Greeting(greeting) => format!("greeting of {}", greeting.identity.as_str()),
        Answer::Begun(begun) => format!("begun run {}", begun.run),
        Answer::Command(command) => format!(
            "command for tick {} of run {}, counted to 65536 and 256",
            command.tick, command.run
        ),
        Answer::Tripped => "tripped".to_owned(),
        Answer::Ended { run } => format!("ended run {run}"),
        Answer::Refused(why) => format!("refused: {why:?}"),
    }
}
