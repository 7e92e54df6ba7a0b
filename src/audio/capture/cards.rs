//! The microphones of the sound cards, by their own names: behind a sound server every input is called after the server.
//!
//! Input: what the kernel tells of its cards (ALSA, `/proc/asound`). Output: names for people. Units: none.
//! Method: cards that can record (`pcm`), under the names that `cards` gives them.
//! Limits: Linux only; which of them the server passes on is chosen in the system's settings, and what it hears over Bluetooth or the network is no
//! card. Elsewhere there are none.

/// Names of the cards that can record.
pub fn recording_cards() -> Vec<String> {
    let read = |name: &str| std::fs::read_to_string(format!("/proc/asound/{name}"));
    match (read("pcm"), read("cards")) {
        (Ok(devices), Ok(cards)) => of_tables(&devices, &cards),
        _ => Vec::new(),
    }
}

/// `00-00: ALC3246 Analog : ALC3246 Analog : playback 1 : capture 1` names a device of the card `0`, which stands as
/// ` 0 [PCH            ]: HDA-Intel - HDA Intel PCH` in the other table.
fn of_tables(devices: &str, cards: &str) -> Vec<String> {
    let card_name = |number: usize| {
        cards.lines().find_map(|line| {
            let (head, name) = line.split_once(" - ")?;
            let own: usize = head.split_whitespace().next()?.parse().ok()?;
            (own == number).then(|| name.trim().to_owned())
        })
    };
    let mut found: Vec<String> = Vec::new();
    for line in devices.lines() {
        let mut fields = line.split(':').map(str::trim);
        let Some(number) = fields.next().and_then(|place| {
            let (card, _) = place.split_once('-')?;
            card.parse().ok()
        }) else {
            continue;
        };
        let device = fields.next().unwrap_or_default();
        if !fields.any(|field| field.starts_with("capture")) {
            continue;
        }
        let name = card_name(number).unwrap_or_else(|| device.to_owned());
        if !found.contains(&name) {
            found.push(name);
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cards_that_record_are_told_once_each_and_under_their_own_names() {
        let devices = "00-00: ALC3246 Analog : ALC3246 Analog : playback 1 : capture 1\n\
                       00-03: HDMI 0 : HDMI 0 : playback 1\n\
                       00-06: Deep Buffer : Deep Buffer : capture 1\n\
                       01-00: USB Audio : USB Audio : capture 1\n\
                       02-00: HDMI 3 : HDMI 3 : playback 1\n";
        let cards = " 0 [PCH            ]: HDA-Intel - HDA Intel PCH\n\
                     \x20                     HDA Intel PCH at 0xb1228000 irq 145\n\
                     \x201 [Mic            ]: USB-Audio - Lid Microphone\n\
                     \x20                     Maker Lid Microphone at usb-0000:00:14.0-1, full speed\n\
                     \x202 [NVidia         ]: HDA-Intel - HDA NVidia\n";
        assert_eq!(
            of_tables(devices, cards),
            ["HDA Intel PCH", "Lid Microphone"]
        );
        assert_eq!(
            of_tables("03-00: USB Audio : USB Audio : capture 1", ""),
            ["USB Audio"]
        );
        assert_eq!(of_tables("no table", "at all"), [""; 0]);
    }
}
