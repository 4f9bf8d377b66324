//! Any bytes as requests and as answers: nothing panics, and what is accepted comes out of its own
//! frame again.
#![no_main]

mod framed;

use framed::framed;
use libfuzzer_sys::fuzz_target;
use trimproof_wire::{Answer, Decoder, FRAME_MAX, Request, encode};

/// What has been accepted goes into a frame and comes out the same.
macro_rules! same_again {
    ($kind:ty, $message:expr) => {
        let mut frame = [0; FRAME_MAX];
        let length = encode(&$message, &mut frame).expect("an accepted message fits a frame");
        let mut decoder = Decoder::new();
        let again = frame[..length]
            .iter()
            .find_map(|byte| decoder.take::<$kind>(*byte));
        assert_eq!(again, Some(Ok($message)));
    };
}

fuzz_target!(|bytes: &[u8]| {
    // As they come: a stream with frames and garbage in it.
    let (mut requests, mut answers) = (Decoder::new(), Decoder::new());
    for byte in bytes {
        if let Some(Ok(request)) = requests.take::<Request>(*byte) {
            same_again!(Request, request);
        }
        if let Some(Ok(answer)) = answers.take::<Answer>(*byte) {
            same_again!(Answer, answer);
        }
    }
    // The same bytes behind a right CRC, so that the messages' own decoding is reached too.
    if bytes.len() <= 300 {
        let frame = framed(bytes);
        let (mut requests, mut answers) = (Decoder::new(), Decoder::new());
        for byte in frame {
            if let Some(Ok(request)) = requests.take::<Request>(byte) {
                same_again!(Request, request);
            }
            if let Some(Ok(answer)) = answers.take::<Answer>(byte) {
                same_again!(Answer, answer);
            }
        }
    }
});
