"""What prevails over any number: the cautions of the README, word for word (a test holds them together)."""

CAUTIONS = (
    "pwindow advises; it does not set a press. The press's own limits, safety data sheets, site rules, local codes and "
    "licensed practice take precedence.",
    "Run no set-up outside what was tried. Confirm a chosen set-up with prints of a new make-ready before a part depends "
    "on it.",
    "Turning rolls draw in hands, cloth and hair: guards closed, jog only, nothing near a nip. Doctor blades cut.",
    "Solvent vapour can burn: earth web and containers, watch the exposure and explosion limits. UV lamps harm eyes and "
    "skin; uncured acrylates sensitise.",
    "Nanoparticle silver: no mist or dust, gloves, extraction; toxic to aquatic life, never down a drain.",
    "An optically open gap does not guarantee insulation: silver migrates under voltage and moisture. Encapsulate and "
    "test. Test lines with a current-limited, extra-low-voltage supply; a line may burn open.",
)
