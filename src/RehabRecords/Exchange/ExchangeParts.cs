using FluentValidation;
using RehabRecords.Rest.Operations;

namespace RehabRecords.Exchange;

/// <summary>What exchange needs: the rules of its requests and the commands behind its routes.</summary>
public static class ExchangeParts
{
    public static void AddExchange(this IServiceCollection services)
    {
        services.AddScoped<HandOver>();
        services.AddScoped<TakeIn>();
        services.AddOperation(ExchangeOperations.HandOver);
        services.AddOperation(ExchangeOperations.TakeIn);
        services.AddSingleton<IValidator<ResolutionRequest>, ResolutionRules>();
        services.AddSingleton<IValidator<ConsentRequest>, ConsentRules>();
        services.AddSingleton<IValidator<WithdrawalRequest>, WithdrawalRules>();
    }
}
