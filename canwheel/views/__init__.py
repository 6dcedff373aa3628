"""The judgement as a JSON document and as a screen."""
