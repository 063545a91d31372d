"""A phone's browser as microphone and camera: pairing, certificate, sound, photos (docs/phone.md)."""
