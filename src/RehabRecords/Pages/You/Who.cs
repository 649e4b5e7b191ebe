using RehabRecords.Documents;
using RehabRecords.Trade;

namespace RehabRecords.Pages.You;

/// <summary>Who is working at this browser, as they said themselves. Nobody checks it: that needs a sign-in.</summary>
/// <param name="At">When they said so.</param>
public sealed record Who(string Name, string Role, string? RegistrationBody, string? Registration, DateTimeOffset At)
{
    public string Words => Signer().Words;

    public Signer Signer() => new() { Name = Name, Role = Role, RegistrationBody = RegistrationBody, Registration = Registration };

    public Clinician Clinician() => new() { Name = Name, Role = Role, Registration = Registration };
}
