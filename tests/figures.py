"""What the service says of itself to whoever watches it."""

from prometheus_client.parser import text_string_to_metric_families

from tests.api import Api


def figures(api: Api) -> dict[str, float]:
    """Read the metrics: each by its name and labels."""
    told = api.send("GET", "/metrics").text
    return {
        f"{sample.name}{sorted(sample.labels.items())}": sample.value
        for family in text_string_to_metric_families(told)
        for sample in family.samples
    }
