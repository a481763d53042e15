"""The fixed caution, word for word as on the page and in the README."""

CAUTION = (
    "This Stop is software. It is not an emergency stop. Fit a hardware emergency stop that removes motor power, keep hands and "
    "loose things away from the gears, and follow your local codes; have mains or lifting work done by licensed people."
)
